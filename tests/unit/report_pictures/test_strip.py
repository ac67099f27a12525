"""The contact strip: cut where the mark is, turned as on the map, stretched alike."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from motemap.place import HOLDS, Hold
from motemap.records import FlatFrame, FrameReport
from motemap.report.pictures.contact_strip import BAR_SHARE, contact_strip_png, scale_bar
from motemap.report.pictures.marks import N_NUMBERED, numbered_ids
from motemap.report.pictures.strip import GROUND_GREY, OUTSIDE_GREY, TILE_PX, cut_strip
from motemap.settings import WorkSettings
from motemap.showing import worst_first
from picturing.bench import FULL_FRAME, dusty, mark, numbered, report, sizeless
from picturing.flat import flat_for

BIN_PX = 4


def plane(frame: FrameReport) -> FlatFrame:
    """Return an empty plane of the size of a frame; never square."""
    shape = (FULL_FRAME.height_px // BIN_PX, FULL_FRAME.width_px // BIN_PX)
    assert frame.image is not None
    return FlatFrame(
        contrast=np.zeros(shape, np.float32),
        background=np.ones(shape, np.float32),
        noise_frac=np.full(shape, 0.004, np.float32),
        valid=np.ones(shape, np.bool_),
        bin_px=BIN_PX,
    )


def dark_corner(grey: np.ndarray) -> tuple[str, str]:
    """Return in which quarter of a tile the darkest part lies."""
    half = TILE_PX // 2
    quarters = {
        (down, across): int(grey[rows, columns].sum())
        for down, rows in (("upper", slice(0, half)), ("lower", slice(half, None)))
        for across, columns in (("left", slice(0, half)), ("right", slice(half, None)))
    }
    return min(quarters, key=lambda quarter: quarters[quarter])


@pytest.mark.parametrize(
    ("name", "corner"),
    [
        # In the stored picture the dirt lies above and left of the middle of the tile. The lens
        # has turned the picture, so that on the sensor it lies below and left.
        ("upright", ("lower", "left")),
        ("upside-down", ("upper", "right")),
        ("on-back-top-away", ("lower", "left")),
        ("grip-up", ("upper", "left")),
        ("grip-down", ("lower", "right")),
        ("from-behind", ("lower", "right")),
    ],
)
def test_tiles_are_turned_as_the_body_is_held(name: str, corner: tuple[str, str]) -> None:
    hold = next(each for each in HOLDS if each.name == name)
    frame = report(numbered([mark(18.0, 12.0, 60.0)]))
    flat = plane(frame)
    row, column = flat.contrast.shape[0] // 2, flat.contrast.shape[1] // 2
    flat.contrast[:, :][row - 2 : row, column - 2 : column] = -0.3
    (tile,) = cut_strip(frame, flat, hold=hold).tiles
    assert dark_corner(tile.grey) == corner


def test_a_picture_without_a_place_is_not_turned() -> None:
    frame = sizeless(report(numbered([mark(18.0, 12.0, 60.0)])))
    flat = plane(frame)
    row, column = flat.contrast.shape[0] // 2, flat.contrast.shape[1] // 2
    flat.contrast[:, :][row - 2 : row, column - 2 : column] = -0.3
    (tile,) = cut_strip(frame, flat).tiles
    assert dark_corner(tile.grey) == ("upper", "left")
    assert not tile.is_um
    assert scale_bar(tile)[1].endswith(" px")


def test_the_mark_is_in_the_middle_whatever_the_binning() -> None:
    frame = report(numbered([mark(7.3, 19.1, 60.0)]))
    for bin_px in (1, 3, 4):
        (tile,) = cut_strip(frame, flat_for(frame, bin_px=bin_px)).tiles
        weight = np.clip(GROUND_GREY * 0.6 - tile.grey.astype(float), 0, None)
        rows, columns = np.indices(weight.shape)
        centre = (
            float((rows * weight).sum() / weight.sum()),
            float((columns * weight).sum() / weight.sum()),
        )
        # Half a cell of the coarsest plane is 12 um, 15 px of a tile; noise moves it far less.
        assert centre == pytest.approx(((TILE_PX - 1) / 2, (TILE_PX - 1) / 2), abs=3)


def test_the_same_contrast_is_the_same_grey_in_every_tile() -> None:
    frame = report(numbered([mark(10.0, 8.0, 60.0), mark(25.0, 15.0, 20.0)]))
    flat = plane(frame)
    flat.contrast[:, :][:] = -0.1
    flat.contrast[:, :][:, : flat.contrast.shape[1] // 2] = -0.4
    tiles = {tile.spot.id: tile for tile in cut_strip(frame, flat).tiles}
    assert np.all(tiles[1].grey == 0)
    # asinh(0.1 / 0.02) / asinh(0.4 / 0.02) = 2.3124 / 3.6895: 62.7 % of the way to black.
    assert np.all(tiles[2].grey == round(GROUND_GREY * (1 - 2.3124 / 3.6895)))


def test_bare_noise_is_not_blown_up() -> None:
    frame = report(numbered([mark(10.0, 8.0, 20.0)]))
    flat = plane(frame)
    flat.contrast[:, :][:] = np.random.default_rng(3).normal(0, 0.004, flat.contrast.shape)
    strip = cut_strip(frame, flat)
    assert strip.black_frac == 0.05
    assert float(np.std(strip.tiles[0].grey)) < 30


def test_what_lies_beyond_the_picture_is_left_blank() -> None:
    frame = report(numbered([mark(0.02, 23.98, 60.0)]))
    (tile,) = cut_strip(frame, flat_for(frame)).tiles
    # The mark sits in the lower left corner as seen: blank are the left and the lower half.
    assert np.all(tile.grey[:, : TILE_PX // 3] == OUTSIDE_GREY)
    assert np.all(tile.grey[-TILE_PX // 3 :] == OUTSIDE_GREY)
    assert np.all(tile.grey[: TILE_PX // 3, -TILE_PX // 3 :] != OUTSIDE_GREY)


def test_long_marks_get_a_wider_field_and_a_longer_bar() -> None:
    frame = dusty(12)
    tiles = cut_strip(frame, flat_for(frame)).tiles
    fibre = next(tile for tile in tiles if tile.spot.kind == "fibre")
    speck = next(tile for tile in tiles if tile.spot.kind == "speck")
    assert fibre.field >= 1.25 * (fibre.spot.length_um or 0)
    assert fibre.field > speck.field
    for tile in (fibre, speck):
        length, words = scale_bar(tile)
        assert 0.1 * tile.field < length <= BAR_SHARE * tile.field
        assert words.replace("\xa0", " ") in {f"{length:.0f} µm", f"{length / 1000:.1f} mm"}


@pytest.mark.parametrize("hold", [HOLDS[0], HOLDS[4]], ids=lambda hold: hold.name)
def test_the_strip_holds_the_worst_marks_in_order(hold: Hold) -> None:
    frame = dusty(60)
    strip = cut_strip(frame, flat_for(frame), hold=hold)
    ids = [tile.spot.id for tile in strip.tiles]
    assert len(ids) == N_NUMBERED
    ranked = [spot.id for spot in worst_first(frame.spots, WorkSettings()) if spot.id in ids]
    assert ids == ranked
    assert set(ids) == numbered_ids(frame.spots, WorkSettings())
    picture = contact_strip_png(frame, strip)
    assert picture == contact_strip_png(frame, strip)
    width_px, height_px = Image.open(io.BytesIO(picture)).size
    assert width_px > height_px


def test_a_clean_sensor_has_a_strip_that_says_so() -> None:
    frame = dusty(0)
    strip = cut_strip(frame, flat_for(frame))
    assert strip.tiles == ()
    assert contact_strip_png(frame, strip).startswith(b"\x89PNG")


def test_the_plane_is_left_as_it_was() -> None:
    frame = dusty(12)
    flat = flat_for(frame)
    before = flat.contrast[:, :].copy()
    cut_strip(replace(frame), flat)
    assert np.array_equal(flat.contrast[:, :], before)
