"""Curled fibres and clear drops, drawn by wave optics and judged."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import flat_frame, noisy
from motemap.classify import ShadowScale, judge_origins, name_kinds
from motemap.detect import detect
from motemap.measure import measure_all, owners
from motemap.records import MeasuredSpots, Stack
from motemap.settings import DetectSettings
from motemap.synth.masks import DropMask, FibreMask, Outline
from motemap.synth.shadow import ShadowOptics, cast_shadow
from motemap.synth.truth import whiten

if TYPE_CHECKING:
    from motemap.records import MeasuredSpot
    from motemap.synth.masks import Mask

SHAPE = (170, 190)
NOISE_FRAC = 0.003
BIN_PX = 2
"""Shadows are drawn on cells, as large as two photosites."""


def optics_of(f_number: float, pitch_um: float = 6.0) -> ShadowOptics:
    return ShadowOptics(pitch_um=BIN_PX * pitch_um, f_number=f_number, tau_um=1300.0)


@dataclass(frozen=True, kw_only=True)
class Judged:
    """The deepest mark of a frame, and what it is taken for; empty where for an artefact."""

    spot: MeasuredSpot
    kind: str


def judged(mask: Mask, optics: ShadowOptics) -> Judged:
    shadow = cast_shadow(mask, optics, row_px=84.3, col_px=95.6)
    loss = whiten(shadow.loss)
    contrast = noisy(SHAPE, NOISE_FRAC, 9)
    rows, cols = (
        slice(first, first + n)
        for first, n in zip((shadow.top_px, shadow.left_px), loss.shape, strict=True)
    )
    contrast[rows, cols] -= loss
    flat = flat_frame(contrast, NOISE_FRAC, bin_px=BIN_PX)
    found = detect(flat, widest_px=60.0, usual_px=30.0, settings=DetectSettings()).found
    spot = max(measure_all(flat, found, owners(flat, found)), key=lambda one: one.depth_frac)
    stack = Stack(distance_mm=1.3, uncertainty_mm=0.05, source="measured")
    scale = ShadowScale.from_optics(stack, optics.f_number, optics.pitch_um / BIN_PX)
    spots = MeasuredSpots.of([spot])
    origin = judge_origins(spots, scale, np.zeros(1), np.zeros(1, np.bool_))
    unknown_px, is_cut = np.full(1, np.nan), np.zeros(1, np.bool_)
    kinds = name_kinds(spots, scale, spots.depth_frac, unknown_px, is_cut=is_cut)
    return Judged(spot=spot, kind=kinds.kind[0] if origin.is_mark[0] else "")


def curl(radius_um: float, turn_deg: float, tail_um: float) -> tuple[tuple[float, float], ...]:
    """Return an arc with straight tails, about its middle."""
    half = math.radians(turn_deg) / 2
    turn = np.linspace(-half, half, 90)
    arc = radius_um * np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    ends = [
        arc[end] + tail_um * np.array([side * math.cos(half), math.sin(half)])
        for end, side in ((0, -1), (-1, 1))
    ]
    line = np.concatenate([ends[:1], arc, ends[1:]])
    line -= (line.min(axis=0) + line.max(axis=0)) / 2
    return tuple((float(right), float(down)) for right, down in line)


@pytest.mark.parametrize("f_number", [22.0, 16.0])
@pytest.mark.parametrize(("radius_um", "tail_um"), [(100.0, 250.0), (150.0, 300.0)])
def test_a_fibre_that_crosses_itself_is_as_wide_as_a_straight_one(
    radius_um: float, tail_um: float, f_number: float
) -> None:
    optics = optics_of(f_number)
    straight = judged(FibreMask(line_um=((-400.0, 90.0), (400.0, -90.0)), width_um=7.0), optics)
    line = curl(radius_um, 320.0, tail_um)
    curled = judged(FibreMask(line_um=line, width_um=7.0), optics)
    assert straight.kind == curled.kind == "fibre"
    assert curled.spot.width_px == pytest.approx(straight.spot.width_px, rel=0.15)
    assert curled.spot.edge_px == pytest.approx(straight.spot.edge_px, rel=0.15)
    # What lies within the shadow of its other half is not seen.
    length_px = sum(math.dist(*pair) for pair in pairwise(line))
    length_px *= BIN_PX / optics.pitch_um
    assert 0.8 * length_px < curled.spot.length_px < 1.05 * length_px


@pytest.mark.parametrize(
    ("diameter_um", "contact_deg"), [(60.0, 5.0), (70.0, 7.0), (80.0, 9.0), (90.0, 6.0)]
)
def test_a_drop_is_a_mark_however_thin_its_ring(diameter_um: float, contact_deg: float) -> None:
    # A little dirty, it takes as much light as it gathers.
    outline = Outline(diameter_um=diameter_um)
    mask = DropMask(outline=outline, contact_deg=contact_deg, opacity=0.2)
    drop = judged(mask, optics_of(16.0, 7.8))
    assert drop.spot.depth_frac > 0.05
    assert drop.kind == "droplet"
