"""A job begun without a file: its devices with ready-made names, the usual wiring, the figures that makers give."""
