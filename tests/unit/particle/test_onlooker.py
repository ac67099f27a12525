"""What an eye sees of shadows whose width and depth are known."""

from __future__ import annotations

import numpy as np
import pytest

from motemap.optics.apertures import THIRD_STOPS
from motemap.optics.depths import speck_depth
from motemap.optics.vision import Viewing, visible_depth
from motemap.optics.waves import shadows
from motemap.particle import Onlooker, Particle, Shadow, seen_by, smallest_seen
from motemap.records import Stack

TAU_UM, PITCH_UM, PICTURE_PX = 1200.0, 6.0, 6000.0
STACK = Stack(distance_mm=TAU_UM / 1000, uncertainty_mm=None, source="given")
SCREEN = Onlooker(viewing=Viewing.parse("screen"), picture_px=PICTURE_PX)
PRINT = Onlooker(viewing=Viewing.parse("print:60x40cm@80cm"), picture_px=PICTURE_PX)


def speck(size_um: float, opacity_frac: float = 1.0) -> Particle:
    return mark("speck", size_um, None, opacity_frac)


def mark(
    shape: str, size_um: float, length_um: float | None, opacity_frac: float = 1.0
) -> Particle:
    return Particle(
        shadow=Shadow(
            shape="strip" if shape == "strip" else "speck",
            size_um=size_um,
            length_um=length_um,
            opacity_frac=opacity_frac,
            factor=1.0,
            tau_um=TAU_UM,
            pitch_um=PITCH_UM,
        )
    )


@pytest.mark.parametrize("onlooker", [SCREEN, PRINT])
def test_depths_between_the_reckoned_widths_are_those_of_the_eye(onlooker: Onlooker) -> None:
    widths_px = np.array([2.7, 9.1, 18.3, 44.0, 310.0])
    wanted = [visible_depth(each, PICTURE_PX, onlooker.viewing) for each in widths_px]
    # Steps of 8 % in width: straight lines between them are good to well under 1 %.
    assert np.allclose(onlooker.least_depth(widths_px), wanted, rtol=0.005)


@pytest.mark.parametrize("onlooker", [SCREEN, PRINT])
@pytest.mark.parametrize("size_um", [14.0, 25.0, 60.0])
def test_a_speck_is_seen_from_where_it_is_deep_enough_for_its_width(
    onlooker: Onlooker, size_um: float
) -> None:
    def margin(f_number: float) -> float:
        width_px = shadows(TAU_UM, f_number, PITCH_UM).half_width_um(size_um) / PITCH_UM
        depth = float(speck_depth(size_um, TAU_UM, f_number, PITCH_UM))
        return depth / visible_depth(width_px, PICTURE_PX, onlooker.viewing)

    (seen,) = seen_by(onlooker, [speck(size_um)])
    assert seen.shows_from_f is not None
    # Widths at thirds of a stop come from their neighbours; 2 % of depth is far below a third.
    assert margin(seen.shows_from_f) > 0.98
    wider = [f_number for f_number in THIRD_STOPS if f_number < seen.shows_from_f]
    assert not wider or margin(wider[-1]) < 1.02


def test_larger_and_denser_marks_are_seen_from_wider_apertures() -> None:
    seen = seen_by(SCREEN, [speck(10), speck(20), speck(40), speck(40, 0.3)])
    from_f = [particle.shows_from_f or 99.0 for particle in seen]
    assert from_f[0] > from_f[1] > from_f[2]
    assert from_f[3] > from_f[2]


def test_a_print_from_afar_hides_what_a_screen_shows() -> None:
    (on_screen,) = seen_by(SCREEN, [speck(20)])
    (in_print,) = seen_by(PRINT, [speck(20)])
    assert (in_print.shows_from_f or 99.0) > (on_screen.shows_from_f or 99.0)


def test_a_fibre_is_seen_before_a_speck_of_its_width() -> None:
    as_speck, as_fibre = seen_by(SCREEN, [speck(10), mark("strip", 10, 800.0)])
    assert (as_fibre.shows_from_f or 99.0) < (as_speck.shows_from_f or 99.0)


def test_what_cannot_be_forecast_is_left_as_it_is() -> None:
    unknown = Particle(shows_from_f=8.0)
    tiny = speck(1.0)
    seen = seen_by(SCREEN, [unknown, tiny, speck(60)])
    assert seen[0] == unknown
    assert seen[1].shows_from_f is None
    assert seen[2].shows_from_f is not None
    assert seen_by(SCREEN, []) == ()
    assert seen_by(SCREEN, [unknown]) == (unknown,)


@pytest.mark.parametrize("f_number", [5.6, 11.0, 22.0])
def test_the_smallest_speck_seen_is_just_seen(f_number: float) -> None:
    least_um = smallest_seen(SCREEN, stack=STACK, f_number=f_number, pitch_um=PITCH_UM)
    assert least_um is not None
    below, above = seen_by(SCREEN, [speck(0.97 * least_um), speck(1.03 * least_um)])
    assert (below.shows_from_f or 99.0) > f_number
    assert (above.shows_from_f or 99.0) <= f_number


def test_an_unknown_distance_leaves_the_smallest_unknown() -> None:
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert smallest_seen(SCREEN, stack=unknown, f_number=11.0, pitch_um=PITCH_UM) is None
