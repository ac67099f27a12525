"""The guide: whole, plain, and in agreement with the facts."""

import pytest

from motemap.errors import SettingsError
from motemap.facts.cautions import solvents
from motemap.facts.guide import find_section, guide_text, sections
from motemap.facts.methods import methods, swabs


def test_every_subject_asked_for_has_its_section() -> None:
    assert [section.key for section in sections()] == (
        [
            "why",
            "shoot",
            "read",
            "order",
            "hold",
            "blow",
            "brush",
            "swab",
            "stop",
            "bodies",
            "cautions",
            "fluids",
            "sources",
        ]
    )


def test_text_is_plain_and_fits_a_terminal() -> None:
    text = guide_text()
    assert text.isascii()
    assert "\t" not in text
    assert max(map(len, text.splitlines())) <= 80
    assert not any(line != line.rstrip() for line in text.splitlines())


def test_sections_can_be_read_alone() -> None:
    alone = guide_text("Shoot")
    assert alone.startswith("How to shoot the test frame\n---")
    assert "Wet swab" not in alone
    two = guide_text("brush", "blow")
    assert two.index("Brush\n-----\n") < two.index("Blower\n------\n")


def test_an_unknown_section_names_the_known_ones() -> None:
    with pytest.raises(SettingsError, match="'polish'") as caught:
        find_section("polish")
    assert "shoot" in caught.value.repair


def test_each_setting_of_the_test_frame_is_told() -> None:
    shoot = find_section("shoot").body
    for word in ("f/22", "ISO", "Focus", "Movement", "Brightness", "Raw", "clipped"):
        assert word in shoot


def test_order_is_that_of_the_ladder() -> None:
    order = find_section("order").body.casefold()
    places = [order.index(f". {method.name}") for method in methods()]
    assert places == sorted(places)


def test_hazard_figures_are_those_of_the_facts() -> None:
    rows = [line.split() for line in find_section("fluids").body.splitlines()]
    told = [fact for fact in solvents() if fact.quantity in {"flash point", "8 h exposure limit"}]
    assert told
    for fact in told:
        row = next(cells for cells in rows if cells[:1] == [fact.solvent])
        assert f"{fact.value:g} {fact.unit}" in " ".join(row)


def test_swab_widths_are_those_of_the_facts() -> None:
    swab_body = " ".join(find_section("swab").body.split())
    single = [fact for fact in swabs() if fact.advice.startswith("one swab")]
    assert single
    for fact in single:
        low_mm, high_mm = fact.width_low_mm, fact.width_high_mm
        width = f"{low_mm:g}" if low_mm == high_mm else f"{low_mm:g}-{high_mm:g}"
        assert f"{width} mm for {fact.format}" in swab_body


def test_it_defers_to_the_manual_and_to_a_service() -> None:
    cautions = " ".join(find_section("cautions").body.split())
    assert "manual" in cautions
    assert "authorised service" in cautions
