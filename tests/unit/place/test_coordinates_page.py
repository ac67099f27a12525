"""The page on coordinates shows code; the code does what the page says."""

import doctest
from pathlib import Path

from motemap.place import HOLDS

PAGE = Path(__file__).parents[3] / "docs" / "reference" / "coordinates.md"


def test_examples_on_the_page_run() -> None:
    outcome = doctest.testfile(str(PAGE), module_relative=False)
    assert outcome.attempted > 0
    assert outcome.failed == 0


def test_every_hold_is_on_the_page_as_it_is_explained_by_the_program() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for hold in HOLDS:
        assert f"| `{hold.name}` | {hold.meaning} |" in text
