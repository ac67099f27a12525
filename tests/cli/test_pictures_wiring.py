"""Pictures where frames are combined, where files clash, and where an eye decides what shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import tifffile
from PIL import Image

from drawn import blemishes, dust, shoot
from motemap.cli.main import main

if TYPE_CHECKING:
    from pathlib import Path

    from commanding import Captured

pytestmark = pytest.mark.usefixtures("judged_once")


@pytest.fixture(scope="module")
def burst(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with two frames of one state, ten seconds apart."""
    folder = tmp_path_factory.mktemp("burst")
    for number in (1, 2):
        taken_at = f"2031-05-02T10:00:{10 * number}"
        marks = (*dust(), *blemishes(number))
        shoot(folder / f"MOTE000{number}.jpg", marks, taken_at=taken_at, seed=number)
    return folder


def check(*arguments: str | Path) -> int:
    return main(["check", *map(str, arguments)])


def test_combined_frames_have_all_their_pictures(burst: Path, tmp_path: Path) -> None:
    names = {"--map": "map.svg", "--strip": "strip.png", "--mask": "mask.tif", "--page": "p.html"}
    asked = [part for flag, name in names.items() for part in (flag, tmp_path / name)]
    # Its marks are not those of any one frame: at another aperture, too.
    assert check(burst, "--burst", *asked, "--for", "8") == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(names.values())
    assert "<figure><img" in (tmp_path / "p.html").read_text(encoding="utf-8")
    mask = tifffile.imread(tmp_path / "mask.tif")
    assert mask.shape == (700, 1000)
    assert mask.max() == 255


@pytest.mark.parametrize("other", ["--strip", "--mask", "-o"])
def test_two_things_do_not_go_to_one_file(
    burst: Path, tmp_path: Path, capsys: Captured, other: str
) -> None:
    target = tmp_path / "one.png"
    assert check(burst, "--map", target, other, target) == 2
    stdout, stderr = capsys.readouterr()
    assert "Two things are to be written to this file" in stderr
    assert stdout == ""
    assert not target.exists()


def test_compare_refuses_the_same(burst: Path, tmp_path: Path, capsys: Captured) -> None:
    states = (str(burst / "MOTE0001.jpg"), str(burst / "MOTE0002.jpg"))
    target = str(tmp_path / "one.svg")
    assert main(["compare", *states, "--map", target, "-o", target]) == 2
    assert "Two things" in capsys.readouterr().err


def test_the_eye_decides_in_pictures_too(burst: Path, tmp_path: Path) -> None:
    shot = burst / "MOTE0001.jpg"
    covers = {}
    for view in ("screen", "print:18x12cm@120cm"):
        mask, page = tmp_path / "mask.png", tmp_path / "page.html"
        check(shot, "--view", view, "--mask", mask, "--for", "5.6", "--page", page)
        covers[view] = np.count_nonzero(np.asarray(Image.open(mask)))
        said = page.read_text(encoding="utf-8")
        assert "(contrast sensitivity after Barten)" in said
        assert ("seen on a screen at 100 %" in said) is (view == "screen")
        assert ("seen in a print 18 x 12 cm at 120 cm" in said) is (view != "screen")
    assert 0 < covers["print:18x12cm@120cm"] < covers["screen"]
