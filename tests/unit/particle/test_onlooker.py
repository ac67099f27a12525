"""What an eye sees of shadows whose width and depth are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from motemap.optics.apertures import THIRD_STOPS
from motemap.optics.depths import depth_curve
from motemap.optics.vision import Viewing, visible_depth
from motemap.optics.waves import shadows
from motemap.particle import CastShadows, Onlooker, Particles, seen_by, smallest_seen
from motemap.records import Stack

TAU_UM, PITCH_UM, PICTURE_PX = 1200.0, 6.0, 6000.0
STACK = Stack(distance_mm=TAU_UM / 1000, uncertainty_mm=None, source="given")
SCREEN = Onlooker(viewing=Viewing.parse("screen"), picture_px=PICTURE_PX)
PRINT = Onlooker(viewing=Viewing.parse("print:60x40cm@80cm"), picture_px=PICTURE_PX)


def specks(sizes_um: list[float], opacity_frac: float = 1.0) -> Particles:
    return marks("speck", sizes_um, opacity_frac)


def marks(shape: str, sizes_um: list[float], opacity_frac: float = 1.0) -> Particles:
    """Return marks of which nothing but their shadows is known; fibres are 800 um long."""
    n_marks = len(sizes_um)
    unknown = np.full(n_marks, np.nan)
    return Particles(
        particle_um=unknown,
        least_um=unknown,
        most_um=unknown,
        length_um=unknown,
        lost_area_um2=unknown,
        depth_frac=unknown,
        layer=np.full(n_marks, "unsure", np.object_),
        reason=np.full(n_marks, "", np.object_),
        shadows=CastShadows(
            is_strip=np.full(n_marks, shape == "strip"),
            size_um=np.array(sizes_um),
            length_um=np.full(n_marks, 800.0),
            opacity_frac=np.full(n_marks, opacity_frac),
            factor=np.ones(n_marks),
            tau_um=np.full(n_marks, TAU_UM),
            pitch_um=PITCH_UM,
        ),
        depth_at=None,
        shows_from_f=unknown,
    )


def first_seen(onlooker: Onlooker, particles: Particles) -> list[float]:
    """Return from which aperture on each mark is seen, 99 for one that never is."""
    first: list[float] = seen_by(onlooker, particles).shows_from_f.tolist()
    return [99.0 if np.isnan(f_number) else f_number for f_number in first]


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
        depth = float(depth_curve(TAU_UM, f_number, PITCH_UM).depth(size_um))
        return depth / visible_depth(width_px, PICTURE_PX, onlooker.viewing)

    (first,) = first_seen(onlooker, specks([size_um]))
    # Widths at thirds of a stop come from their neighbours; 2 % of depth is far below a third.
    assert margin(first) > 0.98
    wider = [f_number for f_number in THIRD_STOPS if f_number < first]
    assert not wider or margin(wider[-1]) < 1.02


def test_larger_and_denser_marks_are_seen_from_wider_apertures() -> None:
    small, middling, large = first_seen(SCREEN, specks([10.0, 20.0, 40.0]))
    assert small > middling > large
    (thin,) = first_seen(SCREEN, specks([40.0], 0.3))
    assert thin > large


def test_a_print_from_afar_hides_what_a_screen_shows() -> None:
    assert first_seen(PRINT, specks([20.0])) > first_seen(SCREEN, specks([20.0]))


def test_a_fibre_is_seen_before_a_speck_of_its_width() -> None:
    assert first_seen(SCREEN, marks("strip", [10.0])) < first_seen(SCREEN, specks([10.0]))


def test_what_is_never_seen_has_no_aperture() -> None:
    tiny, large = seen_by(SCREEN, specks([1.0, 60.0])).shows_from_f
    assert np.isnan(tiny)
    assert not np.isnan(large)


def test_what_cannot_be_forecast_is_left_as_it_is() -> None:
    unknown = replace(specks([20.0]), shadows=None, shows_from_f=np.array([8.0]))
    assert seen_by(SCREEN, unknown) is unknown
    assert seen_by(SCREEN, specks([])).shows_from_f.size == 0


@pytest.mark.parametrize("f_number", [5.6, 11.0, 22.0])
def test_the_smallest_speck_seen_is_just_seen(f_number: float) -> None:
    least_um = smallest_seen(SCREEN, stack=STACK, f_number=f_number, pitch_um=PITCH_UM)
    assert least_um is not None
    below, above = first_seen(SCREEN, specks([0.97 * least_um, 1.03 * least_um]))
    assert below > f_number
    assert above <= f_number


def test_an_unknown_distance_leaves_the_smallest_unknown() -> None:
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert smallest_seen(SCREEN, stack=unknown, f_number=11.0, pitch_um=PITCH_UM) is None
