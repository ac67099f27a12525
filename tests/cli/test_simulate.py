import json
from pathlib import Path

import pytest
import rawpy
from PIL import Image

from commanding import Captured
from motemap.cli.main import main

SMALL = ["--size", "240x160", "--specks", "3", "--fibres", "1"]


def test_raw_and_truth_are_written(tmp_path: Path, capsys: Captured) -> None:
    target = tmp_path / "shot.dng"
    assert main(["simulate", str(target), *SMALL, "--f-number", "f/16", "--mosaic", "bggr"]) == 0
    assert capsys.readouterr().out == "shot.dng: 4 marks, told in shot.dng.truth.json\n"
    with rawpy.imread(str(target)) as raw:
        assert raw.raw_image_visible.shape == (160, 240)
        assert raw.raw_pattern is not None
        assert raw.raw_pattern.tolist() == [[2, 3], [1, 0]]
    truth = json.loads((tmp_path / "shot.dng.truth.json").read_text(encoding="utf-8"))
    assert truth["drawn_from"]["f_number"] == 16.0
    assert len(truth["marks"]) == 4


@pytest.mark.parametrize("name", ["shot.jpg", "shot.tif", "shot.png"])
def test_pictures_are_written(tmp_path: Path, name: str) -> None:
    assert main(["simulate", str(tmp_path / name), *SMALL, "--orientation", "3"]) == 0
    with Image.open(tmp_path / name) as picture:
        assert picture.size == (240, 160)
        assert picture.getexif()[0x0112] == 3


def test_same_options_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        assert main(["simulate", str(tmp_path / name / "shot.jpg"), *SMALL, "--seed", "9"]) == 0
    for name in ("shot.jpg", "shot.jpg.truth.json"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_every_nuisance_is_passed_on(tmp_path: Path) -> None:
    nuisances = ["exposure", "vignetting", "tilt", "mottle", "banding", "screen"]
    given = [
        part for number, name in enumerate(nuisances) for part in (f"--{name}", str(number + 1))
    ]
    counts = ["--droplets", "3", "--smears", "1", "--lens-dust", "2", "--hot", "7", "--dead", "5"]
    assert main(["simulate", str(tmp_path / "a.dng"), *SMALL, *given, *counts, "--no-exif"]) == 0
    drawn_from = json.loads((tmp_path / "a.dng.truth.json").read_text("utf-8"))["drawn_from"]
    scene, mix = drawn_from["scene"], drawn_from["mix"]
    assert scene["exposure_frac"] == pytest.approx(0.01)
    assert scene["vignetting_frac"] == pytest.approx(0.02)
    assert scene["tilt_frac"] == pytest.approx(0.03)
    assert scene["mottle_frac"] == pytest.approx(0.04)
    assert scene["row_banding_frac"] == pytest.approx(0.05)
    assert scene["screen_frac"] == pytest.approx(0.06)
    assert (mix["n_clear_drops"], mix["n_dirty_drops"]) == (1, 2)
    assert (mix["n_smears"], mix["n_lens"]) == (1, 2)
    assert (drawn_from["sensor"]["n_hot"], drawn_from["sensor"]["n_dead"]) == (7, 5)
    assert drawn_from["file"]["has_exif"] is False


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["shot.gif"], "'.gif'"),
        (["shot.dng", "--size", "6000"], "'6000' is no size"),
        (["shot.dng", "--size", "10x400"], "10 x 400"),
        (["shot.dng", "--size", "90000x90000"], "90000 x 90000"),
        (["shot.dng", "--f-number", "wide"], "'wide' is no aperture"),
        (["shot.dng", "--tilt", "100"], "--tilt"),
        ([], "FILE"),
    ],
)
def test_wrong_usage(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["simulate", *arguments]) == 2
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there(tmp_path: Path, capsys: Captured) -> None:
    assert main(["simulate", str(tmp_path / "none" / "shot.dng"), *SMALL]) == 1
    assert "could not be written" in capsys.readouterr().err
