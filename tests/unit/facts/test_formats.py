"""Looking up sensor formats by name, diagonal and size."""

import pytest

from motemap.facts.formats import (
    find_format,
    format_holding,
    nearest_by_diagonal,
    sensor_formats,
)
from motemap.facts.table import simplify


@pytest.mark.parametrize(
    ("name", "format_name"),
    [
        ("full frame", "full frame"),
        ("FF", "full frame"),
        ("Full-Frame", "full frame"),
        ("aps-c", "APS-C"),
        ("APSC", "APS-C"),
        ("aps-c 1.6x", "APS-C 1.6x"),
        ("MFT", "Four Thirds"),
        ("micro four thirds", "Four Thirds"),
        ("1-inch", "1-inch"),
        ('1"', "1-inch"),
        ("44x33", "44x33"),
        ("33 x 44", "44x33"),
    ],
)
def test_names_are_forgiving(name: str, format_name: str) -> None:
    found = find_format(name)
    assert found is not None
    assert found.name == format_name


def test_an_unknown_name_finds_nothing() -> None:
    assert find_format("fool frame") is None
    assert find_format("") is None


def test_no_name_or_alias_means_two_formats() -> None:
    names = [simplify(name) for each in sensor_formats() for name in {each.name, *each.aliases}]
    assert len(names) == len(set(names))


def test_formats_are_all_lying() -> None:
    assert all(each.width_mm > each.height_mm for each in sensor_formats())


def test_nearest_diagonal_within_a_tolerance() -> None:
    near = nearest_by_diagonal(27.8, tolerance_frac=0.07)
    assert near is not None
    assert near.name == "APS-C"
    assert nearest_by_diagonal(7.1, tolerance_frac=0.07) is None


@pytest.mark.parametrize(
    ("width_mm", "height_mm", "name"),
    [
        (36.0, 24.0, "full frame"),
        (35.6, 23.8, "full frame"),
        (36.0, 20.25, "full frame"),  # 16:9 cut from 3:2
        (24.0, 24.0, "full frame"),  # square cut from 3:2
        (23.6, 15.7, "APS-C"),
        (22.3, 14.9, "APS-C 1.6x"),
        (17.3, 13.0, "Four Thirds"),
        (43.8, 32.9, "44x33"),
        (18.0, 12.0, None),
        (30.0, 20.0, None),
        (5.6, 4.2, None),
    ],
)
def test_a_size_is_named_by_the_format_it_fills(
    width_mm: float, height_mm: float, name: str | None
) -> None:
    found = format_holding(width_mm, height_mm, tolerance_frac=0.03)
    assert (found.name if found else None) == name
