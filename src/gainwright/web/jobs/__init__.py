"""Jobs, their chain and their corridor: pages and API."""
