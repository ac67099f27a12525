"""Cautions come with every method that touches the camera."""

import pytest

from motemap.facts.cautions import all_cautions, cautions_for, solvents
from motemap.records import Method

AT_HOME: tuple[Method, ...] = ("blower", "brush", "wet swab")


@pytest.mark.parametrize("method", AT_HOME)
def test_open_body_cautions_come_with_every_method_at_home(method: Method) -> None:
    names = [each.name for each in cautions_for(method)]
    assert {"cleaning mode", "no cans", "shutter blades", "floating sensor"} <= set(names)


@pytest.mark.parametrize("method", [*AT_HOME, "service"])
def test_the_camera_manual_has_the_last_word(method: Method) -> None:
    last = cautions_for(method)[-1]
    assert "manual" in last.text
    assert "authorised service" in last.text


def test_own_cautions_come_first() -> None:
    assert cautions_for("brush")[0].applies_to == "brush"
    assert cautions_for("wet swab")[0].name == "blow first"


def test_fluids_are_named_as_fire_and_poison_only_where_fluid_is_used() -> None:
    wet = " ".join(each.text for each in cautions_for("wet swab"))
    assert "fire" in wet
    assert "poison" in wet
    assert "poison" not in " ".join(each.text for each in cautions_for("brush"))


def test_nothing_to_do_needs_no_caution() -> None:
    assert cautions_for("none") == ()


def test_every_caution_is_reached_by_some_method() -> None:
    all_methods: tuple[Method, ...] = (*AT_HOME, "service")
    reached = {each for method in all_methods for each in cautions_for(method)}
    assert reached == set(all_cautions())


def test_every_solvent_flashes_below_room_temperature() -> None:
    flash_points = [each for each in solvents() if each.quantity == "flash point"]
    assert {each.solvent for each in flash_points} == {"isopropanol", "ethanol", "methanol"}
    assert all(each.unit == "C" and each.value < 18 for each in flash_points)
