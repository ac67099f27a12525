"""Frames whose aperture is not in the file: what is claimed for the cleaning, and what is not."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from motemap.compare import compare_states
from motemap.compare.two import lay_over
from motemap.compare.visible import NOISE_AT_LIMIT
from motemap.records import FrameReport
from motemap.settings import DetectSettings
from sequences import Cleaning, Shot, clean, draw_dust, list_spots, report_of, spot

WIDE, NARROW = Shot(f_number=8.0, limit_frac=0.02), Shot(f_number=22.0, limit_frac=0.02)


def nameless(report: FrameReport) -> FrameReport:
    """The same frame, its aperture not in the file: no particle size can be promised then."""
    return replace(
        report,
        exposure=replace(report.exposure, f_number=None),
        sensitivity=replace(report.sensitivity, smallest_particle_um=None),
    )


def drawn(one: Shot, two: Shot, cleaning: Cleaning, seed: int) -> tuple[FrameReport, FrameReport]:
    rng = np.random.default_rng(seed)
    before = draw_dust(rng, 60)
    after, _ = clean(rng, before, cleaning)
    return (
        list_spots(rng, before, one, "a").report,
        list_spots(rng, after, two, "b").report,
    )


UNTOUCHED = Cleaning(stayed=1.0)


@pytest.mark.parametrize("seed", [61, 62, 63])
@pytest.mark.parametrize("is_known", [True, False])
def test_a_wider_aperture_that_nobody_told_cleans_nothing(seed: int, *, is_known: bool) -> None:
    before, after = drawn(NARROW, WIDE, UNTOUCHED, seed)
    before = before if is_known else nameless(before)
    change = compare_states(before, nameless(after), done=("blower",))
    assert len(after.spots) < len(before.spots) - 10, "the wider aperture hides much"
    assert change.counts["gone"] == change.counts["weaker"] == change.counts["new"] == 0
    assert change.notes[0].startswith(f"no aperture in {'the second' if is_known else 'either'}")
    assert "stops wider" in change.notes[0]


@pytest.mark.parametrize("seed", [71, 72, 73])
def test_a_narrower_aperture_that_nobody_told_brings_nothing(seed: int) -> None:
    before, after = drawn(WIDE, NARROW, UNTOUCHED, seed)
    change = compare_states(nameless(before), after)
    assert change.counts["gone"] == change.counts["weaker"] == change.counts["new"] == 0
    assert "no aperture in the first file" in change.notes[0]
    assert "stops narrower" in change.notes[0]


@pytest.mark.parametrize("seed", [81, 82, 83])
def test_what_stayed_as_deep_tells_that_the_aperture_was_the_same(seed: int) -> None:
    before, after = drawn(NARROW, NARROW, Cleaning(stayed=0.4), seed)
    told = compare_states(before, after)
    found = compare_states(nameless(before), nameless(after))
    assert found.notes == (
        "no aperture in either file: by the depths of what stayed it was the same",
    )
    assert found.counts["gone"] >= 0.9 * told.counts["gone"] > 10
    assert found.counts["weaker"] <= 1


def test_where_no_mark_tells_the_aperture_nothing_is_claimed() -> None:
    before, _ = drawn(NARROW, NARROW, UNTOUCHED, 91)
    after = nameless(report_of([], NARROW))
    change = compare_states(before, after)
    assert change.counts["undecided"] == len(before.spots)
    assert {mark.reasons for mark in change.marks} == {
        ("the other frame may have been shot too wide open to show it: an aperture is unknown",)
    }
    assert "the marks do not tell it" in change.notes[0]
    assert compare_states(before, report_of([], NARROW)).counts["gone"] > 10


def test_deep_marks_and_those_on_the_lens_tell_nothing_of_the_aperture() -> None:
    deep = spot(1, 500, 600, shot=NARROW, depth_frac=0.9)
    lens = spot(2, 2500, 700, shot=NARROW, depth_frac=0.1, layer="lens side")
    states = lay_over(nameless(report_of([deep, lens], NARROW)), report_of([deep, lens], NARROW))
    assert len(states.pairs.rows) == 2
    assert states.apertures.ratio is None


def test_fibres_and_specks_tell_the_same_aperture() -> None:
    # Twice as wide open: half of a fibre's depth, a quarter of a speck's.
    fibre = spot(1, 500, 600, shot=NARROW, kind="fibre", depth_frac=0.2, length_um=700.0)
    speck = spot(2, 2500, 700, shot=NARROW, depth_frac=0.2)
    after = [replace(fibre, depth_frac=0.1), replace(speck, depth_frac=0.05)]
    states = lay_over(report_of([fibre, speck], NARROW), nameless(report_of(after, NARROW)))
    assert states.apertures.ratio == pytest.approx(0.5)
    assert states.apertures.stops == pytest.approx(-2.0)
    assert states.apertures.turned.ratio == pytest.approx(2.0)


def test_the_noise_at_the_limit_follows_from_what_a_mark_needs() -> None:
    # Found nine times in ten at 1.2816 standard deviations above the threshold.
    snr_at_limit = DetectSettings().snr_min + 1.2816
    assert NOISE_AT_LIMIT * snr_at_limit == pytest.approx(1.0)


@pytest.mark.parametrize("changes", [{"kind": "smear"}, {"layer": "inside"}])
def test_marks_whose_depth_is_the_same_at_any_aperture_do_not_tell_it(
    changes: dict[str, Any],
) -> None:
    films = [
        replace(spot(n, 400.0 * n, 300.0 * n, shot=NARROW, depth_frac=0.1), **changes)
        for n in range(1, 4)
    ]
    specks = [spot(n, 500.0 * n, -300.0 * n, shot=NARROW, depth_frac=0.03) for n in range(4, 9)]
    before, after = report_of([*films, *specks], NARROW), report_of(films, WIDE, "b")
    change = compare_states(nameless(before), nameless(after), done=("blower",))
    assert change.counts["gone"] == 0
    assert change.counts["undecided"] >= len(specks)
