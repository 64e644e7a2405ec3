"""HTTP limits and access from the local network: who may send what, how much, how fast."""
