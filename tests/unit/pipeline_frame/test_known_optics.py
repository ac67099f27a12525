"""The optics of a frame, and the size of the cells it is looked at in."""

from __future__ import annotations

import pytest

from motemap.pipeline.known_optics import KnownOptics, choose_bin
from motemap.records import ImageInfo


def info(width_px: int = 8256, height_px: int = 5504) -> ImageInfo:
    return ImageInfo(
        kind="raw", width_px=width_px, height_px=height_px, exif_orientation=1, bits=14
    )


def test_blur_is_distance_over_aperture_over_pitch() -> None:
    optics = KnownOptics(f_number=20.0, pitch_um=5.0)
    assert optics.blur_px(1.0) == 10.0
    assert optics.blur_px(2.0) == 20.0
    assert KnownOptics(f_number=10.0, pitch_um=5.0).blur_px(1.0) == 20.0


def test_the_widest_shadow_is_blur_and_particle() -> None:
    # 3 mm at f/20 and 5 um: 30 px of blur, and 150 um of particle: 30 px more.
    assert KnownOptics(f_number=20.0, pitch_um=5.0).widest_px == pytest.approx(60.0)


def test_unknowns_are_replaced_by_what_is_usual() -> None:
    assert (
        KnownOptics(f_number=None, pitch_um=None).blur_px()
        == KnownOptics(f_number=22.0, pitch_um=4.5).blur_px()
    )


@pytest.mark.parametrize("pitch_um", [2.4, 3.2, 4.0, 5.0, 6.0])
@pytest.mark.parametrize("f_number", [16.0, 22.0, 32.0])
def test_cells_keep_some_two_across_the_finest_blur(f_number: float, pitch_um: float) -> None:
    bin_px = choose_bin(info(), f_number, pitch_um)
    cells = KnownOptics(f_number=f_number, pitch_um=pitch_um).blur_px(0.5) / bin_px
    assert 1 <= bin_px <= 4
    assert cells > 1.5 or bin_px == 1
    assert cells < 4 or bin_px == 4


@pytest.mark.parametrize(
    ("f_number", "pitch_um", "bin_px"),
    [
        (22.0, 20.0, 1),  # 0.5 mm blurs by 1.1 px: no less than one
        (11.0, 3.0, 4),  # by 15 px: no more than four
    ],
)
def test_cells_have_bounds(f_number: float, pitch_um: float, bin_px: int) -> None:
    assert choose_bin(info(), f_number, pitch_um) == bin_px


def test_small_pictures_keep_cells_enough() -> None:
    assert choose_bin(info(600, 450), 11.0, 4.0) == 2
    assert choose_bin(info(300, 199), 11.0, 4.0) == 1
