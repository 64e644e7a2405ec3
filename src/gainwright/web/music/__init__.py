"""Music: pages and API."""
