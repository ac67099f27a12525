"""What all tests share: the same random examples on every machine, and no file left behind."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None, max_examples=200, database=None)
settings.register_profile("dev", parent=settings.get_profile("ci"), max_examples=50)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))
