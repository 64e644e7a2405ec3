"""Run as `python -m gainwright`."""
