"""Our own parsing with damaged structures: no error comes out, whatever goes in.

`tests/faults/fuzz_parsing.py` does the same for minutes, led by coverage.
"""

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from faults.damage import damaged
from faults.parsing import PARSERS, seeds, try_bytes

SEEDS = tuple(seeds())
N_EACH = 60


@pytest.mark.parametrize("number", range(len(SEEDS)))
def test_damaged_structures(number: int) -> None:
    seed = SEEDS[number]
    try_bytes(seed)
    rng = np.random.default_rng(number)
    for _ in range(N_EACH):
        each = damaged(seed[1:], rng)
        try_bytes(seed[:1] + each.content)


@pytest.mark.parametrize("number", [1e300, -1e300, float("nan"), float("inf"), 2.0**64])
def test_an_offset_that_is_no_whole_number(number: float) -> None:
    """Found by the fuzzer: a directory's place, stored as a fraction of 64 bits."""
    entry = struct.pack("<HHHIId", 1, 0x014A, 12, 1, 26, number)
    try_bytes(b"\0II*\0" + struct.pack("<I", 8) + entry)


@given(st.binary(max_size=400), st.integers(0, len(PARSERS) - 1))
def test_any_bytes(content: bytes, parser: int) -> None:
    try_bytes(bytes([parser]) + content)


@given(st.text(max_size=60))
def test_any_words(text: str) -> None:
    try_bytes(b"\3" + text.encode("utf-8", "surrogatepass"))
