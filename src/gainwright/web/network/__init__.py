"""HTTP limits and access from the local network: which requests are accepted, how large and how slow they may be."""
