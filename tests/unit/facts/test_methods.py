"""The ladder of methods, and the swabs."""

from typing import get_args

import pytest

from motemap.errors import SettingsError
from motemap.facts.formats import find_format
from motemap.facts.methods import find_method, find_swab, methods, parse_done, swabs
from motemap.records import Method


def test_ladder_is_gentlest_first_and_complete() -> None:
    assert [each.name for each in methods()] == ["blower", "brush", "wet swab", "service"]
    assert {each.name for each in methods()} == set(get_args(Method)) - {"none"}
    assert [each.rung for each in methods()] == [1, 2, 3, 4]


def test_rougher_methods_take_longer_and_a_service_takes_what_it_takes() -> None:
    minutes = [each.minutes for each in methods()]
    assert minutes[-1] is None
    known = [each for each in minutes if each is not None]
    assert known == sorted(known)
    assert len(known) == 3


@pytest.mark.parametrize("name", ["wet swab", "Wet-Swab", "swab", "WET", "wet_swab"])
def test_names_are_forgiving(name: str) -> None:
    assert find_method(name).name == "wet swab"


def test_an_unknown_method_is_quoted_and_the_known_ones_named() -> None:
    with pytest.raises(SettingsError, match="'licking'") as caught:
        find_method("licking")
    assert "blower, brush, wet swab, service" in caught.value.repair


def test_a_list_keeps_order_and_repeats() -> None:
    assert parse_done("swab, blower,,swab ") == ("wet swab", "blower", "wet swab")
    assert parse_done("") == ()


def test_swab_is_never_wider_than_its_sensor_allows() -> None:
    # A swab sold for APS-C (16-17 mm) is used on the slightly smaller 1.6x sensor as well; half
    # a millimetre of rounding otherwise.
    for swab in swabs():
        named = find_format(swab.format)
        assert named is not None
        slack_mm = 2.2 if "APS-C" in swab.format else 0.5
        assert swab.width_low_mm <= swab.width_high_mm <= named.height_mm + slack_mm


def test_an_unlisted_format_has_no_swab() -> None:
    assert find_swab(None) is None
    assert find_swab("APS-H") is None
    found = find_swab("full frame")
    assert found is not None
    assert found.width_low_mm == 24
