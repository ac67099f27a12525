"""What all tests share: the same random examples on every machine, and no file left behind."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

import drawn

if TYPE_CHECKING:
    from collections.abc import Iterator

settings.register_profile("ci", derandomize=True, deadline=None, max_examples=100, database=None)
settings.register_profile("dev", parent=settings.get_profile("ci"), max_examples=50)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))


@pytest.fixture(scope="module")
def judged_once() -> Iterator[None]:
    """Judge each file once in a whole module of tests; see `drawn.judged_once`."""
    with drawn.judged_once():
        yield
