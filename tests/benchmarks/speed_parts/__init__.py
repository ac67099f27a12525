"""The parts of ``tests/benchmarks/speed.py``."""
