"""Papers: made from a job and what belongs to it."""
