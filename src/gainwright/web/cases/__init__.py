"""Cases and fault finding: pages and API."""
