"""The set-up run: a plan carried out step by step, and what its readings say."""
