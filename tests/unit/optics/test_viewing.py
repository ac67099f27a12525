import pytest

from motemap.errors import SettingsError
from motemap.optics.vision import Viewing


@pytest.mark.parametrize(
    "written",
    [
        "print 60x40cm at 80cm",
        "print:60x40cm@80cm",
        "print:60x40@80",
        " Print  60 x 40 cm  at 80 cm ",
        "print 60cm x 40cm at 80cm",
        "print:40x60@80",
    ],
)
def test_a_print_as_people_write_it(written: str) -> None:
    viewing = Viewing.parse(written)
    assert viewing.print_width_mm == 600.0
    assert viewing.distance_mm == 800.0


def test_a_screen_has_no_size() -> None:
    assert Viewing.parse("Screen").print_width_mm is None


@pytest.mark.parametrize("written", ["screen", "print:60x40cm@80cm", "print:30.5x20@45.5"])
def test_a_viewing_is_read_by_its_own_name(written: str) -> None:
    viewing = Viewing.parse(written)
    assert Viewing.parse(viewing.name) == viewing


@pytest.mark.parametrize(
    "written",
    ["", "wall", "print", "print:60x40", "print:0x40@80", "print:60x40in@80in", "screen@60"],
)
def test_what_is_no_way_of_looking_is_refused(written: str) -> None:
    with pytest.raises(SettingsError, match="way of looking"):
        Viewing.parse(written)
