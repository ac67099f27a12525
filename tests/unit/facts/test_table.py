"""Reading of fact tables: what is refused, and that no table of ours is at fault."""

from importlib import resources

import pytest

from motemap.facts.table import TAG_WORDS, parse_table, read_table, simplify

KEYS = {
    "sensor_formats": ("name",),
    "swabs": ("format",),
    "methods": ("method",),
    "cautions": ("name",),
    "solvents": ("solvent", "quantity"),
    "f_stops": ("nominal",),
    "exif_orientation": ("tag_value",),
}


def table_names() -> list[str]:
    folder = resources.files("motemap.facts") / "tables"
    return sorted(file.name.removesuffix(".csv") for file in folder.iterdir())


def test_every_table_is_known_here() -> None:
    assert table_names() == sorted(KEYS)


@pytest.mark.parametrize("name", KEYS)
def test_every_fact_has_a_source_and_an_honest_tag(name: str) -> None:
    for row in read_table(name, key=KEYS[name]):
        assert row["source"]
        assert row["tag"] in TAG_WORDS
        if row["tag"] == "C":
            assert row["source"] == TAG_WORDS["C"]
        if row["tag"] == "M":
            assert "from memory" in row["source"]


def test_a_fact_without_source_is_refused_with_its_line() -> None:
    text = "thing,source,tag\nice,a handbook,S\nfire, ,S\n"
    with pytest.raises(ValueError, match="demo, line 3: no source"):
        parse_table(text, name="demo", key=("thing",))


def test_a_fact_stated_twice_is_refused_whatever_its_case() -> None:
    text = "thing,source,tag\nice,a handbook,S\nIce,another,S\n"
    with pytest.raises(ValueError, match="line 3: ice is stated twice"):
        parse_table(text, name="demo", key=("thing",))


def test_two_columns_may_name_a_fact_together() -> None:
    text = "thing,side,source,tag\nice,a,book,S\nice,b,book,S\n"
    assert len(parse_table(text, name="demo", key=("thing", "side"))) == 2


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("thing,tag\nice,S\n", "no column source"),
        ("thing,source\nice,book\n", "no column tag"),
        ("other,source,tag\nice,book,S\n", "no column thing"),
        ("", "no column source"),
        ("thing,source,tag\nice,book,X\n", "tag 'X' is none of"),
        ("thing,source,tag\nice,book\n", "2 cells where 3 are due"),
        ("thing,source,tag\nice,one, two,S\n", "4 cells where 3 are due"),
    ],
)
def test_a_damaged_table_is_refused(text: str, cause: str) -> None:
    with pytest.raises(ValueError, match=cause):
        parse_table(text, name="demo", key=("thing",))


def test_names_are_compared_without_case_blanks_and_hyphens() -> None:
    assert simplify(" Full_Frame ") == simplify("fullframe")
    assert simplify("36 \u00d7 24") == "36x24"
