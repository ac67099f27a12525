"""Random marks: the right number, sizes and places, the same for the same seed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from motemap.synth.marks import KIND_OF_FORM, Mark, MarkMix
from motemap.synth.masks import FibreMask
from motemap.synth.scatter import Field, scatter_marks
from motemap.synth.shapes import MAKERS, fibre, power_law_um

FIELD = Field(height_px=900, width_px=1300, tau_um=1300.0)
EVERYTHING = MarkMix(
    n_specks=5,
    n_fibres=2,
    n_clear_drops=1,
    n_dirty_drops=2,
    n_smears=1,
    n_rings=1,
    n_streaks=1,
    n_lens=2,
    n_inside=3,
)


def scatter(mix: MarkMix, seed: int = 3) -> tuple[Mark, ...]:
    return scatter_marks(mix, FIELD, np.random.default_rng(seed))


def test_every_form_comes_as_often_as_asked() -> None:
    forms = [mark.form for mark in scatter(EVERYTHING) if mark.layer == "filter stack"]
    counts = {form: forms.count(form) for form in KIND_OF_FORM}
    assert counts == {
        "speck": 5,
        "fibre": 2,
        "clear drop": 1,
        "dirty drop": 2,
        "smear": 1,
        "ring": 1,
        "streak": 1,
    }


def test_layers_lie_at_their_distances() -> None:
    marks = scatter(EVERYTHING)
    lens = [mark.tau_um for mark in marks if mark.layer == "lens side"]
    inside = [mark.tau_um for mark in marks if mark.layer == "inside"]
    assert len(lens) == 2
    assert all(15000 <= tau_um <= 40000 for tau_um in lens)
    assert len(inside) == 3
    assert all(40 <= tau_um <= 250 for tau_um in inside)


def test_same_seed_same_marks() -> None:
    assert scatter(EVERYTHING) == scatter(EVERYTHING)
    assert scatter(EVERYTHING) != scatter(EVERYTHING, seed=4)


def test_places_fill_the_frame_and_no_more() -> None:
    marks = scatter(MarkMix(n_specks=400, n_fibres=0))
    rows, cols = [mark.row_px for mark in marks], [mark.col_px for mark in marks]
    assert 0 <= min(rows) < 30
    assert 870 < max(rows) <= 899
    assert 0 <= min(cols) < 40
    assert 1260 < max(cols) <= 1299


def test_border_marks_keep_to_the_border() -> None:
    marks = scatter(MarkMix(n_specks=100, n_fibres=0, border_px=20.0))
    insets = [
        min(mark.row_px, mark.col_px, 899 - mark.row_px, 1299 - mark.col_px) for mark in marks
    ]
    assert max(insets) <= 20.0
    sides = {
        (mark.row_px <= 20, mark.row_px >= 879, mark.col_px <= 20, mark.col_px >= 1279)
        for mark in marks
    }
    assert len(sides) >= 4


def test_number_of_specks_falls_with_the_power_of_their_size() -> None:
    mix = MarkMix(smallest_um=10.0, largest_um=1000.0, size_power=2.0)
    rng = np.random.default_rng(1)
    sizes_um = np.array([power_law_um(rng, mix) for _ in range(8000)])
    assert sizes_um.min() >= 10.0
    # a quarter above 20, a sixteenth above 40; 8000 draws: within 10 %
    assert (sizes_um > 20).mean() == pytest.approx(0.25, rel=0.1)
    assert (sizes_um > 40).mean() == pytest.approx(1 / 16, rel=0.15)


@pytest.mark.parametrize("seed", range(12))
def test_fibre_is_as_long_as_it_says(seed: int) -> None:
    shape = fibre(np.random.default_rng(seed), MarkMix())
    assert isinstance(shape.mask, FibreMask)
    points = np.asarray(shape.mask.line_um)
    steps_um = np.hypot(*np.diff(points, axis=0).T)
    assert 150 <= shape.length_um <= 1500
    assert steps_um.sum() == pytest.approx(shape.length_um, rel=0.15)
    assert points.mean(axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)


@pytest.mark.parametrize("form", list(MAKERS))
def test_every_shape_fits_its_box(form: str) -> None:
    maker = {str(name): maker for name, maker in MAKERS.items()}[form]
    for seed in range(4):
        mask = maker(np.random.default_rng(seed), MarkMix()).mask
        half_width_um, half_height_um = mask.reach_um
        for right_um, down_um in ((half_width_um + 3, 0.0), (0.0, half_height_um + 3)):
            outside = mask.paint(np.array([[right_um]]), np.array([[down_um]]), 1.0)
            assert outside.intensity[0, 0] == pytest.approx(1.0)
            assert outside.amplitude[0, 0] == pytest.approx(1.0)


def test_mark_knows_its_kind() -> None:
    mark = scatter(MarkMix(n_specks=1, n_fibres=0))[0]
    assert mark.kind == "speck"
    assert replace(mark, form="streak").kind == "smear"
    assert math.isfinite(mark.size_um)
