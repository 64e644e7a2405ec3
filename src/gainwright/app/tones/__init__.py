"""Tones: the set that a plan plays, as files or as an archive."""
