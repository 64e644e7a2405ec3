"""Jobs: begun, kept, checked, planned, their chain changed, their corridor answered."""
