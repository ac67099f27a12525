"""The mean of flattened frames: what is kept, what is thrown out, what noise is left."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from motemap.burst import combine_flats, lighten, times_on_lens, times_present
from motemap.errors import GeometryError
from motemap.filters import smooth
from motemap.planes import CONTRAST_STEP
from motemap.records import FlatFrame, Spot
from sequences import Shot, report_of

HEIGHT, WIDTH = 420, 560
NOISE = 0.004
TEXTURE = 0.006
ROWS, COLS = np.mgrid[:HEIGHT, :WIDTH]


def disc(row: float, col: float, radius: float, depth: float) -> NDArray[np.float64]:
    """A soft-edged dip."""
    beyond = np.hypot(ROWS - row, COLS - col) - radius
    dip: NDArray[np.float64] = -depth / (1.0 + np.exp(np.clip(2.0 * beyond, -50, 50)))
    return dip


def flat(
    rng: np.random.Generator, *dips: NDArray[np.float64], noise: float = NOISE, bin_px: int = 2
) -> FlatFrame:
    contrast = rng.normal(0.0, noise, (HEIGHT, WIDTH)) + sum(dips)
    return FlatFrame(
        contrast=contrast.astype(np.float32),
        background=np.full((HEIGHT, WIDTH), 0.6, dtype=np.float32),
        noise_frac=np.full((HEIGHT, WIDTH), noise, dtype=np.float32),
        valid=np.ones((HEIGHT, WIDTH), dtype=np.bool_),
        bin_px=bin_px,
    )


def mean_of(frames: Sequence[FlatFrame]) -> FlatFrame:
    return combine_flats([lighten(frame) for frame in frames], frames[0].background)


def snr_at(flat_frame: FlatFrame, row: int, col: int, sigma: float = 3.0) -> float:
    """Depth after blurring, in units of the blurred plane's own scatter."""
    blurred = smooth(flat_frame.contrast[:, :], sigma)
    scatter = 1.4826 * float(np.median(np.abs(blurred)))
    return -float(blurred[row, col]) / scatter


def test_a_corner_cut_off_in_any_frame_is_told() -> None:
    rng = np.random.default_rng(1)
    cut = replace(flat(rng), n_cut_corners=2)
    assert mean_of([flat(rng), cut, flat(rng)]).n_cut_corners == 2


@pytest.mark.parametrize("n_frames", [2, 3, 4, 8])
def test_noise_falls_as_the_root_of_the_number(n_frames: int) -> None:
    rng = np.random.default_rng(n_frames)
    mean = mean_of([flat(rng) for _ in range(n_frames)])
    wanted = NOISE / math.sqrt(n_frames)
    # 235,200 cells fix a standard deviation to 0.15 %; 2 % leaves room for places thrown out.
    assert float(mean.contrast[:, :].std()) == pytest.approx(wanted, rel=0.02)
    assert float(mean.noise_frac[:, :].mean()) == pytest.approx(wanted, rel=0.02)


def test_a_pattern_of_the_sensor_itself_is_not_said_to_average_out() -> None:
    rng = np.random.default_rng(5)
    pattern = rng.normal(0.0, NOISE, (HEIGHT, WIDTH))
    frames = [flat(rng, pattern) for _ in range(4)]
    mean = mean_of(
        [
            FlatFrame(
                contrast=frame.contrast,
                background=frame.background,
                noise_frac=frame.noise_frac[:, :] * np.float32(math.sqrt(2.0)),
                valid=frame.valid,
                bin_px=2,
            )
            for frame in frames
        ]
    )
    # sqrt(1 + 1/4) of the pattern's scatter, not sqrt(2)/2 of it.
    assert float(mean.noise_frac[:, :].mean()) == pytest.approx(NOISE * math.sqrt(1.25), rel=0.03)


def test_dust_keeps_its_depth() -> None:
    rng = np.random.default_rng(6)
    dust = disc(100, 200, 6, 0.02) + disc(300, 400, 4, 0.6) + disc(5, 550, 6, 0.05)
    mean = mean_of([flat(rng, dust) for _ in range(5)])
    for row, col in ((100, 200), (300, 400), (5, 550)):
        window = mean.contrast[row - 1 : row + 2, col - 1 : col + 2]
        truth = dust[row - 1 : row + 2, col - 1 : col + 2]
        # Nine cells of five frames: 0.0006.
        assert float(window.mean()) == pytest.approx(float(truth.mean()), abs=0.002)


@pytest.mark.parametrize("n_frames", [2, 3, 5])
@pytest.mark.parametrize(
    ("radius", "depth"), [(3.0, 0.5), (4.0, 0.03), (8.0, 0.008), (15.0, 0.006), (2.0, 0.06)]
)
def test_what_only_one_frame_shows_is_thrown_out(
    n_frames: int, radius: float, depth: float
) -> None:
    rng = np.random.default_rng(int(10 * radius) + n_frames)
    blemishes = [disc(70 + 60 * index, 300, radius, depth) for index in range(n_frames)]
    frames = [flat(rng, blemish) for blemish in blemishes]
    assert all(snr_at(frame, 70 + 60 * i, 300) > 8 for i, frame in enumerate(frames))
    mean = mean_of(frames)
    # A detection needs six; plain noise gives three at most at so few places.
    assert max(snr_at(mean, 70 + 60 * index, 300) for index in range(n_frames)) < 4.0


def textured(rng: np.random.Generator, *dips: NDArray[np.float64]) -> FlatFrame:
    """A frame of a screen whose texture is four times its noise after the same blur."""
    texture = smooth(rng.normal(size=(HEIGHT, WIDTH)), 4.0)
    return flat(rng, *dips, TEXTURE * texture / texture.std())


@pytest.mark.parametrize("n_frames", [2, 3, 5, 8])
def test_texture_that_moves_falls_as_the_root_of_the_number(n_frames: int) -> None:
    rng = np.random.default_rng(20 + n_frames)
    mean = mean_of([textured(rng) for _ in range(n_frames)])
    blurred = smooth(mean.contrast[:, :], 1.5)
    # Texture of four cells keeps 4^2 / (4^2 + 1.5^2 / 2) of its scatter; of noise next to nothing is
    # left. Some 1,200 patches fix a standard deviation to 2 %.
    wanted = TEXTURE * 16 / 17.125 / math.sqrt(n_frames)
    assert float(blurred.std()) == pytest.approx(wanted, rel=0.06)


@pytest.mark.parametrize("n_frames", [2, 3, 5])
@pytest.mark.parametrize(("radius", "depth"), [(3.0, 0.5), (6.0, 0.1), (12.0, 0.06)])
def test_what_only_one_frame_shows_is_thrown_out_of_texture_too(
    n_frames: int, radius: float, depth: float
) -> None:
    rng = np.random.default_rng(int(10 * radius) + n_frames)
    blemishes = [disc(70 + 60 * index, 300, radius, depth) for index in range(n_frames)]
    mean = mean_of([textured(rng, blemish) for blemish in blemishes])
    assert max(snr_at(mean, 70 + 60 * index, 300) for index in range(n_frames)) < 4.0


def test_marks_in_texture_that_moves_are_counted_in_all_frames() -> None:
    rng = np.random.default_rng(23)
    places = [(row, col) for row in range(30, 400, 40) for col in range(30, 540, 40)]
    # In the mean of five frames such marks stand out by six of its standard deviations.
    faint = [disc(row, col, 4, 2.7 * TEXTURE) for row, col in places]
    frames = [textured(rng, *faint) for _ in range(5)]
    spots = [mark(row, col) for row, col in places]
    present = times_present([lighten(frame) for frame in frames], spots, pitch_um=6.0)
    assert min(present) >= 3
    assert np.mean(present) > 4.8


def test_a_mark_too_faint_for_one_frame_shows_in_the_mean() -> None:
    rng = np.random.default_rng(9)
    faint = disc(200, 300, 5, 0.0018)
    frames = [flat(rng, faint) for _ in range(9)]
    assert snr_at(frames[0], 200, 300) < 6.0
    assert snr_at(mean_of(frames), 200, 300) > 8.0


def test_places_that_most_frames_cannot_judge_stay_out() -> None:
    rng = np.random.default_rng(10)
    frames = [flat(rng) for _ in range(3)]
    masks = [frame.valid.copy() for frame in frames]
    for mask in masks[:2]:
        mask[50:60, 70:90] = False
    masks[2][200:210, 70:90] = False
    mean = mean_of(
        [
            FlatFrame(
                contrast=frame.contrast,
                background=frame.background,
                noise_frac=frame.noise_frac,
                valid=mask,
                bin_px=2,
            )
            for frame, mask in zip(frames, masks, strict=True)
        ]
    )
    assert not mean.valid[55, 80]
    assert mean.valid[205, 80]


def test_one_frame_is_its_own_mean() -> None:
    only = flat(np.random.default_rng(11), disc(80, 90, 5, 0.1))
    mean = mean_of([only])
    error = mean.contrast[:, :] - only.contrast[:, :]
    assert np.abs(error).max() <= CONTRAST_STEP
    assert np.array_equal(mean.noise_frac[:, :], only.noise_frac[:, :])
    assert np.array_equal(mean.valid, only.valid)


def test_what_is_kept_of_a_frame_is_what_it_was() -> None:
    rng = np.random.default_rng(15)
    only = flat(rng)
    valid = rng.random((HEIGHT, WIDTH)) < 0.5
    slope = np.linspace(0.003, 0.006, WIDTH, dtype=np.float32)
    only = FlatFrame(
        contrast=only.contrast,
        background=only.background,
        noise_frac=np.broadcast_to(slope, (HEIGHT, WIDTH)).copy(),
        valid=valid,
        bin_px=2,
    )
    kept = lighten(only)
    rows = slice(33, 71)
    assert np.array_equal(kept.valid(rows), valid[rows])
    # Sixteen cells of 560 are a thirty-fifth of the slope.
    assert np.abs(kept.noise_frac[rows, :] - only.noise_frac[rows, :]).max() <= 0.003 / 35
    assert kept.noise_frac[0:2, 17:20].shape == (2, 3)
    assert np.abs(kept.contrast[rows, :] - only.contrast[rows, :]).max() <= CONTRAST_STEP


def test_frames_of_other_size_are_refused() -> None:
    rng = np.random.default_rng(12)
    with pytest.raises(GeometryError, match="differ in size"):
        mean_of([flat(rng), flat(rng, bin_px=4)])


def test_the_frames_are_left_as_they_were() -> None:
    rng = np.random.default_rng(13)
    frames = [flat(rng, disc(80, 90, 5, 0.1)), flat(rng)]
    copies = [frame.contrast[:, :].copy() for frame in frames]
    mean_of(frames)
    assert all(
        np.array_equal(frame.contrast[:, :], copy)
        for frame, copy in zip(frames, copies, strict=True)
    )


def mark(row: int, col: int) -> Spot:
    # Cells of two pixels: the middle of cell (row, col) lies at pixel 2 row + 0.5.
    return Spot(
        id=1,
        image_x_px=2 * col + 0.5,
        image_y_px=2 * row + 0.5,
        from_left_mm=None,
        from_top_mm=None,
        place=None,
        depth_frac=0.02,
        snr=20.0,
        width_um=80.0,
        length_um=80.0,
        lost_area_um2=None,
    )


def test_frames_that_show_a_mark_are_counted() -> None:
    rng = np.random.default_rng(14)
    dust, blemish = disc(100, 200, 6, 0.02), disc(300, 400, 6, 0.03)
    frames = [flat(rng, dust), flat(rng, dust, blemish), flat(rng, dust), flat(rng)]
    spots = [mark(100, 200), mark(300, 400)]
    assert times_present([lighten(frame) for frame in frames], spots, pitch_um=6.0) == (3, 1)


def test_shadows_of_the_lens_are_counted_in_the_reports() -> None:
    wide = replace(mark(100, 200), width_um=1200.0, layer="lens side")
    shot = Shot()
    frames = [
        report_of([replace(wide, image_x_px=wide.image_x_px + 50.0)], shot),
        report_of([replace(wide, layer="filter stack")], shot),
        report_of([replace(wide, image_x_px=wide.image_x_px + 500.0)], shot),
        report_of([wide], shot),
    ]
    # 50 px of 6 um are within half a width, 500 px are not.
    assert times_on_lens(frames, wide) == 2


def test_a_mark_at_the_border_is_counted_like_any_other() -> None:
    rng = np.random.default_rng(16)
    dust = disc(1, 558, 6, 0.02)
    frames = [lighten(flat(rng, dust)), lighten(flat(rng, dust)), lighten(flat(rng))]
    huge = replace(mark(1, 558), width_um=9000.0)
    assert times_present(frames, [mark(1, 558), huge], pitch_um=6.0) == (2, 3)
