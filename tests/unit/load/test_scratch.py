"""Arrays that are used again."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from motemap.load.reduction.scratch import Scratch


def test_the_same_memory_comes_back() -> None:
    scratch = Scratch()
    first = scratch.array("a", (5, 7), np.uint16)
    second = scratch.array("a", (7, 4), np.uint16)
    assert second.shape == (7, 4)
    assert second.dtype == np.uint16
    assert np.shares_memory(first, second)
    assert not np.shares_memory(first, scratch.array("b", (5, 7), np.uint16))


def test_what_does_not_fit_is_new() -> None:
    scratch = Scratch()
    first = scratch.array("a", (5, 7), np.uint16)
    larger = scratch.array("a", (6, 7), np.uint16)
    assert larger.shape == (6, 7)
    assert not np.shares_memory(first, larger)
    assert scratch.array("a", (5, 7), np.float32).dtype == np.float32


def test_each_thread_has_its_own() -> None:
    scratch = Scratch()
    mine = scratch.array("a", (5, 7), np.uint16)
    with ThreadPoolExecutor(1) as pool:
        theirs = pool.submit(scratch.array, "a", (5, 7), np.uint16).result()
    assert not np.shares_memory(mine, theirs)
