"""Papers and charts as data and wording, each in its own module; drawing and printing happen elsewhere."""
