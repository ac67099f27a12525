"""What is asked of a test shot, and what is answered."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fields import plane_of
from motemap.records import Exposure, ImageInfo, ShotCheck
from motemap.report.words import say_check
from motemap.settings import WorkSettings
from motemap.shot import (
    FaintShadow,
    Structure,
    check_exposure,
    check_field,
    check_light,
    check_resolution,
    check_sensitivity,
)

BLANK = Structure(
    rough_share=0.0,
    bright_share=0.0,
    marked_share=0.001,
    texture_frac=0.001,
    lit_share=1.0,
    fall_off_frac=0.7,
)


def outcomes(checks: tuple[ShotCheck, ...]) -> list[tuple[str, str]]:
    return [(check.name, check.outcome) for check in checks]


@pytest.mark.parametrize(
    ("f_number", "iso", "aperture", "speed"),
    [
        (22.0, 100.0, "ok", "ok"),
        (16.0, 400.0, "ok", "ok"),
        (8.0, 1600.0, "warn", "warn"),
        (None, None, "warn", "warn"),
    ],
)
def test_aperture_and_iso_warn_but_never_fail(
    f_number: float | None, iso: float | None, aperture: str, speed: str
) -> None:
    checks = check_exposure(Exposure(f_number=f_number, iso=iso))
    assert outcomes(checks) == [("aperture", aperture), ("ISO", speed)]
    assert [check.value for check in checks] == [f_number, iso]


@pytest.mark.parametrize(
    ("level", "black", "clipped", "brightness", "clipping"),
    [
        (0.6, 0.0, 0.0, "ok", "ok"),
        (0.05, 0.0, 0.0, "warn", "ok"),
        (0.98, 0.0, 0.05, "warn", "warn"),
        (0.7, 0.0, 0.06, "ok", "fail"),
        (0.001, 0.0, 0.0, "fail", "ok"),
        (0.3, 0.9, 0.0, "fail", "ok"),
    ],
)
def test_light(level: float, black: float, clipped: float, brightness: str, clipping: str) -> None:
    plane = plane_of(np.full((4, 6), level, np.float32), clipped_frac=clipped, black_frac=black)
    assert outcomes(check_light(level, plane)) == [
        ("brightness", brightness),
        ("clipping", clipping),
    ]


def test_dark_and_bright_frames_get_opposite_advice() -> None:
    plane = plane_of(np.full((4, 6), 0.5, np.float32))
    dark, bright = (check_light(level, plane)[0].advice for level in (0.05, 0.98))
    assert dark is not None
    assert bright is not None
    assert "longer" in dark
    assert "less" in bright


@pytest.mark.parametrize(
    ("changes", "evenness", "blank", "values"),
    [
        ({}, "ok", "ok", (0.7, "nothing else")),
        ({"fall_off_frac": 0.1}, "warn", "ok", (0.1, "nothing else")),
        ({"lit_share": 0.98}, "warn", "ok", (0.98, "nothing else")),
        ({"lit_share": 0.94}, "fail", "ok", (0.94, "nothing else")),
        ({"n_cut_corners": 1}, "warn", "ok", ("1 corner cut off", "nothing else")),
        ({"n_cut_corners": 4}, "warn", "ok", ("4 corners cut off", "nothing else")),
        ({"n_cut_corners": 4, "lit_share": 0.9}, "fail", "ok", (0.9, "nothing else")),
        ({"rough_share": 0.04}, "ok", "warn", (0.7, "structure in 4 % of the frame")),
        ({"rough_share": 0.5}, "ok", "fail", (0.7, "structure in 50 % of the frame")),
        ({"bright_share": 0.1}, "ok", "fail", (0.7, "10 % of the frame brighter than round about")),
        ({"marked_share": 0.5}, "ok", "fail", (0.7, "marks on 50 % of the frame")),
        ({"texture_frac": 0.01}, "ok", "warn", (0.7, "texture of 1 % all over")),
    ],
)
def test_field(
    changes: dict[str, Any], evenness: str, blank: str, values: tuple[float | str, str]
) -> None:
    checks = check_field(replace(BLANK, **changes), 0.0001)
    wanted = {"evenness": evenness, "blank field": blank, "banding": "ok"}
    assert dict(outcomes(checks)) == wanted
    # What is said to have been found is what decided.
    assert (checks[0].value, checks[1].value) == values


def test_objects_in_the_picture_make_it_no_blank_field() -> None:
    blank = check_field(BLANK, 0.0001, n_objects=2)[1]
    assert (blank.value, blank.outcome) == ("2 soft dark things", "fail")
    assert blank.advice is not None
    assert blank.advice.startswith("Something in the picture is too soft for dust on the sensor")


def test_lines_across_the_picture_make_it_no_blank_field() -> None:
    blank = check_field(BLANK, 0.0001, n_lines=1)[1]
    assert (blank.value, blank.outcome) == ("1 line across", "fail")
    assert blank.advice is not None
    assert blank.advice.startswith("A line crosses the picture")


def test_banding_warns() -> None:
    assert outcomes(check_field(BLANK, 0.01))[-1] == ("banding", "warn")


@pytest.mark.parametrize(
    ("width_px", "height_px", "outcome"),
    [(6000, 4000, "ok"), (4000, 6000, "ok"), (1600, 1200, "warn"), (300, 200, "fail")],
)
def test_resolution_is_that_of_the_short_side(width_px: int, height_px: int, outcome: str) -> None:
    info = ImageInfo(
        kind="jpeg", width_px=width_px, height_px=height_px, exif_orientation=1, bits=8
    )
    check = check_resolution(info)
    assert check.outcome == outcome
    assert check.value == min(width_px, height_px)


JPEG = ImageInfo(kind="jpeg", width_px=3000, height_px=2000, exif_orientation=1, bits=8)
RAW = replace(JPEG, kind="raw", bits=14, mosaic="2x2")


@pytest.mark.parametrize(
    ("info", "pitch_um", "outcome"),
    [
        (JPEG, 6.0, "ok"),
        (JPEG, 18.0, "fail"),
        (replace(RAW, mosaic="linear"), 18.0, "fail"),
        (replace(RAW, mosaic="6x6"), 18.0, "fail"),
        (RAW, 8.5, "ok"),
        (RAW, 18.0, "ok"),
        (RAW, 30.0, "fail"),
    ],
)
def test_a_shadow_as_narrow_as_a_defect_fails(
    info: ImageInfo, pitch_um: float, outcome: str
) -> None:
    shadow = FaintShadow.thrown(tau_um=1300.0, f_number=22.0, pitch_um=pitch_um)
    check = check_resolution(info, shadow)
    assert check.outcome == outcome
    assert ("px wide" in str(check.value)) == (outcome == "fail")
    for said, words in ((check.advice, "told from defects"), (check.wanted, "than a defect")):
        assert (words in (said or "")) == (outcome == "fail")


@pytest.mark.parametrize(
    ("smallest_um", "matters_um", "outcome"),
    [(12.0, 20.0, "ok"), (20.0, 20.0, "ok"), (31.0, 20.0, "fail"), (None, None, "warn")],
)
def test_a_frame_that_could_not_have_shown_what_matters_fails(
    smallest_um: float | None, matters_um: float | None, outcome: str
) -> None:
    check = check_sensitivity(smallest_um, matters_um, WorkSettings(shoot_at_f=8.0))
    assert check.outcome == outcome
    assert check.value == smallest_um
    assert ("f/8" in f"{check.wanted} {check.advice}") == (outcome != "ok")


def test_a_frame_that_could_show_no_speck_at_all_fails_and_says_so() -> None:
    # What matters is known only where aperture and sensor are: no size is seen, not none known.
    check = check_sensitivity(None, 20.0, WorkSettings(shoot_at_f=8.0))
    assert check.outcome == "fail"
    assert check.advice is not None
    assert "unknown" not in check.advice


def test_a_frame_is_sharp_enough_where_no_speck_matters() -> None:
    check = check_sensitivity(12.0, None, WorkSettings(shoot_at_f=1.4))
    assert (check.outcome, check.value, check.advice) == ("ok", 12.0, None)


def test_advice_is_given_just_where_something_is_amiss() -> None:
    plane = plane_of(np.full((4, 6), 0.001, np.float32), clipped_frac=0.9)
    checks = (
        *check_exposure(Exposure(f_number=4.0, iso=6400.0)),
        *check_light(0.001, plane),
        *check_field(replace(BLANK, lit_share=0.1, rough_share=0.9), 0.1),
        check_sensitivity(99.0, 5.0, WorkSettings()),
    )
    assert all(check.advice for check in checks)
    good = (*check_exposure(Exposure(f_number=22.0, iso=100.0)), *check_field(BLANK, 0.0))
    assert not any(check.advice for check in good)


def test_a_picture_too_small_is_not_excused_by_shadows_that_may_be_narrow() -> None:
    narrow = FaintShadow.thrown(tau_um=1300.0, f_number=22.0, pitch_um=18.0)
    small = replace(JPEG, width_px=300, height_px=200)
    assert check_resolution(small, None, narrow).outcome == "fail"
    large = check_resolution(JPEG, None, narrow)
    assert large.outcome == "warn"
    # The blur disc is 1300 / 22 = 59 um wide, 3.3 px.
    assert float(str(large.value).split()[2]) == pytest.approx(3.3, rel=0.35)


def test_what_fails_never_reads_as_what_is_wanted() -> None:
    evenness, *_ = check_field(replace(BLANK, lit_share=0.98999), 0.0)
    assert (evenness.outcome, say_check("evenness", evenness.value or 0.0)) == ("warn", "0.989")
    evenness, *_ = check_field(replace(BLANK, fall_off_frac=0.29999), 0.0)
    assert (evenness.outcome, say_check("evenness", evenness.value or 0.0)) == ("warn", "0.299")
    depth = check_sensitivity(None, None, WorkSettings(show_depth_frac=0.02), 0.02001)
    assert depth.value == "marks from 2.01 % of the light on"
    size = check_sensitivity(20.02, 20.01, WorkSettings())
    assert (size.outcome, size.value, size.wanted) == ("fail", 20.1, "20.0 um or smaller")


def test_without_an_aperture_a_frame_has_to_show_all_that_counts_in_it() -> None:
    work = WorkSettings(shoot_at_f=11.0, show_depth_frac=0.02)
    assert check_sensitivity(None, None, work, 0.02).value is None
    # What just shows at f/11 takes 4.2 % at f/16, as wide as a test shot may be.
    for depth_frac, outcome in ((0.021, "warn"), (0.042, "warn"), (0.043, "fail")):
        check = check_sensitivity(None, None, work, depth_frac)
        said = f"marks from {100 * depth_frac:.4g} % of the light on"
        assert (check.outcome, check.value) == (outcome, said)
    at_16 = WorkSettings(shoot_at_f=16.0, show_depth_frac=0.02)
    assert check_sensitivity(None, None, at_16, 0.021).outcome == "fail"
    # With both known, sizes decide: shallow marks of a narrow aperture do not matter.
    assert check_sensitivity(12.0, 20.0, work, 0.06).outcome == "ok"
