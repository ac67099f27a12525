"""Metadata: where it lies in each kind of file, and what it says."""
