"""Practice: pages and API."""
