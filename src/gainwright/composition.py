"""Wires adapters to the app."""
