"""Papers: pages and API."""
