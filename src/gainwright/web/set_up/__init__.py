"""The set-up run: pages and API."""
