"""Live measurement and recordings: pages and API."""
