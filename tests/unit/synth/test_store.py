"""Frames and truth on disk."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rawpy
from PIL import Image

from motemap.errors import OutputError
from motemap.synth.camera import PictureSpec
from motemap.synth.frame import draw_frame
from motemap.synth.marks import MarkMix
from motemap.synth.spec import FileSpec, FrameSpec
from motemap.synth.store import frame_tags, write_frame, write_truth

SPEC = FrameSpec(seed=5, width_px=210, height_px=130, mix=MarkMix(n_specks=2, n_fibres=1))


def test_raw_keeps_every_value(tmp_path: Path) -> None:
    drawn = draw_frame(SPEC)
    write_frame(drawn, tmp_path / "shot.dng")
    with rawpy.imread(str(tmp_path / "shot.dng")) as raw:
        assert np.array_equal(raw.raw_image_visible, drawn.codes)
        assert raw.black_level_per_channel == [512] * 4
        assert raw.white_level == 16383


@pytest.mark.parametrize(("kind", "name"), [("png", "shot.png"), ("tiff", "shot.tif")])
def test_lossless_pictures_keep_every_code(tmp_path: Path, kind: str, name: str) -> None:
    file = FileSpec(format="png" if kind == "png" else "tiff")
    drawn = draw_frame(replace(SPEC, file=file))
    write_frame(drawn, tmp_path / name)
    with Image.open(tmp_path / name) as picture:
        assert np.array_equal(np.asarray(picture), drawn.codes)


def test_jpeg_is_near_its_codes(tmp_path: Path) -> None:
    drawn = draw_frame(replace(SPEC, file=FileSpec(format="jpeg", quality=95)))
    write_frame(drawn, tmp_path / "shot.jpg")
    with Image.open(tmp_path / "shot.jpg") as picture:
        stored = np.asarray(picture).astype(int)
    assert abs(stored.mean() - drawn.codes.mean()) < 0.5


def test_same_record_same_bytes(tmp_path: Path) -> None:
    for name in ("one.jpg", "two.jpg"):
        drawn = draw_frame(replace(SPEC, file=FileSpec(format="jpeg")))
        write_frame(drawn, tmp_path / name)
        write_truth(drawn, tmp_path / f"{name}.json", file_name="shot.jpg")
    for end in ("", ".json"):
        first, second = tmp_path / f"one.jpg{end}", tmp_path / f"two.jpg{end}"
        assert first.read_bytes() == second.read_bytes()


def test_truth_file_has_the_marks_and_what_they_were_drawn_from(tmp_path: Path) -> None:
    drawn = draw_frame(SPEC)
    write_truth(drawn, tmp_path / "shot.json", file_name="shot.dng")
    truth = json.loads((tmp_path / "shot.json").read_text(encoding="utf-8"))
    assert truth["truth"] == "motemap.simulate"
    assert truth["truth_version"] == 1
    assert truth["file"] == "shot.dng"
    assert truth["image"] == {"width_px": 210, "height_px": 130}
    assert truth["drawn_from"]["seed"] == 5
    assert [mark["kind"] for mark in truth["marks"]] == ["speck", "speck", "fibre"]
    assert truth["marks"][0]["image_x_px"] == drawn.marks[0].image_x_px
    assert set(truth["marks"][0]) >= {"depth_frac", "snr", "width_um", "lost_area_um2", "layer"}


def test_tags_tell_aperture_and_pixel_distance() -> None:
    picture = PictureSpec(shrink=2)
    spec = replace(SPEC, picture=picture, file=FileSpec(format="jpeg", orientation=6))
    tags = frame_tags(draw_frame(spec, ()))
    assert tags.f_number == 22.0
    assert tags.iso == 100
    assert tags.orientation == 6
    assert tags.focal_plane_pitch_um == 12.0
    assert tags.serial == "600142"


def test_turned_picture_says_it_is_upright() -> None:
    spec = replace(SPEC, file=FileSpec(format="jpeg", orientation=6, is_turned=True))
    assert frame_tags(draw_frame(spec, ())).orientation == 1


def test_no_metadata_when_none_are_wanted() -> None:
    spec = replace(SPEC, file=FileSpec(format="jpeg", has_exif=False))
    tags = frame_tags(draw_frame(spec, ()))
    assert tags.maker is None
    assert tags.f_number is None
    assert tags.orientation is None


def test_says_why_the_truth_could_not_be_written(tmp_path: Path) -> None:
    drawn = draw_frame(SPEC, ())
    with pytest.raises(OutputError, match="could not be written"):
        write_truth(drawn, tmp_path / "missing" / "shot.json", file_name="shot.dng")
