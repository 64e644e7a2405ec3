"""Papers about a job."""
