"""The page System and its API: paired devices, the pairing code, the store, what is installed."""
