"""What `python3 tasks.py` does, one purpose a module; `tasks.py` itself only chooses."""
