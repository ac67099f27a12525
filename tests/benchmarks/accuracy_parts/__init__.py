"""What `accuracy.py` is made of: frames, scoring, other detectors, limit, tables, page."""
