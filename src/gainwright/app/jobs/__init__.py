"""Jobs: stored versions, edits of the chain, the corridor, what is assumed."""
