"""The long runs, at their shortest: they run, and what they found goes to its place."""

from pathlib import Path

import pytest

from faults import fuzz_parsing
from faults.hunt import hunt, said_on_page
from faults.outcome import PAGE, write_outcome


def test_a_hunt_says_what_it_found(tmp_path: Path) -> None:
    tally = hunt("grey.jpg", tmp_path, n_wanted=6, seed=3)
    assert tally.codes.total() == 6
    assert tally.faults == []
    assert "0 faults" in tally.line()
    said = said_on_page([tally], "python tests/faults/hunt.py --count 6 --seed 3")
    assert "Last run: 6 files, none of them showed a fault." in said
    rows = [line for line in said.splitlines() if line.startswith("|")]
    assert len({row.count("|") for row in rows}) == 1


def test_the_fuzzers_figures_are_read() -> None:
    lines = "#8 pulse  cov: 412 ft: 900 corp: 3/9b\nstat::number_of_executed_units: 1500\n"
    assert dict(fuzz_parsing.FIGURE.findall(lines)) == {
        "cov": "412",
        "number_of_executed_units": "1500",
    }


def test_words_go_to_their_place_and_can_be_renewed(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("# One\n\n<!-- written by a -->\n<!-- end of a -->\n\nLast.\n")
    for words in ("First run.", r"Second run, with \1 and \n."):
        write_outcome("a", words, page)
        expected = f"# One\n\n<!-- written by a -->\n\n{words}\n\n<!-- end of a -->\n\nLast.\n"
        assert page.read_text() == expected
    with pytest.raises(ValueError, match="no place for b"):
        write_outcome("b", "words", page)


@pytest.mark.parametrize("name", ["hunt.py", "fuzz_parsing.py"])
def test_the_page_has_a_place_for_each(name: str) -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert text.count(f"<!-- written by {name} -->\n") == 1
    assert text.count(f"<!-- end of {name} -->\n") == 1
