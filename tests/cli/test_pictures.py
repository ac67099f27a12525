"""Pictures and pages asked for on the command line.

One test shot of known dust is judged for real; where only the handling of files matters, a
stand-in tells what was found in a frame.
"""

from __future__ import annotations

import io
import json
import os
import pty
import select
import subprocess
import sys
import xml.etree.ElementTree as ET
from contextlib import redirect_stderr
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from motemap.cli.easel import speaks_unicode
from motemap.cli.main import main
from motemap.pipeline import frame as pipeline_frame
from motemap.pipeline import states as pipeline_states
from motemap.pipeline.judging import Look
from picturing import bench
from picturing.flat import flat_for

if TYPE_CHECKING:
    from commanding import Captured
    from motemap.settings import Settings

SVG = "{http://www.w3.org/2000/svg}"
WIDTH_PX, HEIGHT_PX = 1500, 1000
PITCH_UM = 24.0
"""A reduced picture of a 36 x 24 mm sensor: small, so that the test is quick."""

SPOTS_PX = {(300.0, 200.0): 0.5, (900.0, 700.0): 0.4, (1200.0, 150.0): 0.3}
"""Column and row of each shadow, and its depth."""

NAMES = {"--map": "map.svg", "--page": "page.html", "--strip": "strip.png", "--mask": "mask.tif"}


def shot(path: Path) -> Path:
    """Write a 16-bit test shot with soft shadows of 0.1 mm, as a TIFF."""
    rows, columns = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX]
    light = 0.7 + np.random.default_rng(4).normal(0, 0.003, (HEIGHT_PX, WIDTH_PX))
    for (column, row), depth in SPOTS_PX.items():
        distance = np.hypot(rows - row, columns - column)
        light *= 1 - depth * np.exp(-((distance / 2.2) ** 4))
    srgb = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    tifffile.imwrite(path, np.rint(srgb * 65535).astype(np.uint16))
    return path


def check(*arguments: str | Path) -> int:
    return main(["check", *map(str, arguments)])


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with all that one run can draw, and its JSON report."""
    place = tmp_path_factory.mktemp("drawn")
    frame = shot(tmp_path_factory.mktemp("shots") / "MOTE0001.tif")
    asked = [part for flag, name in NAMES.items() for part in (flag, str(place / name))]
    # Marks of a few per cent are as narrow as noise in pixels so coarse.
    sensor = ("--sensor", "36x24", "--stack-mm", "1.3", "--show-depth", "10")
    form = ("--format", "json", "-o", place / "report.json")
    said = io.StringIO()
    with redirect_stderr(said):
        code = check(frame, *sensor, *asked, "--for", "22", *form)
    assert code in {0, 3, 4}
    own = "is white where marks show at the aperture of this shot: there is no forecast for f/22."
    assert own in said.getvalue()
    return place


def test_one_run_draws_all_that_was_asked_for(drawn: Path) -> None:
    assert sorted(path.name for path in drawn.iterdir()) == sorted([*NAMES.values(), "report.json"])
    report = json.loads((drawn / "report.json").read_text(encoding="utf-8"))["frames"][0]
    assert len(report["spots"]) == len(SPOTS_PX)
    page = (drawn / "page.html").read_text(encoding="utf-8")
    assert page.count("<figure><img") == len(SPOTS_PX)
    assert Image.open(io.BytesIO((drawn / "strip.png").read_bytes())).format == "PNG"


def test_a_picture_that_is_not_drawn_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    black = tmp_path / "black.png"
    Image.new("L", (2000, 1300)).save(black)
    (tmp_path / "strip.png").write_bytes(b"of yesterday")
    asked = ("--mask", tmp_path / "mask.png", "--strip", tmp_path / "strip.png")
    assert check(black, "--exit-zero", *asked) == 0
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 2
    assert "strip.png" in said[0]
    assert said[0].endswith("What is there is of an earlier run.")
    assert "mask.png" in said[1]
    assert said[1].endswith("not fit to judge.")
    assert (tmp_path / "strip.png").read_bytes() == b"of yesterday"
    assert not (tmp_path / "mask.png").exists()


def test_the_map_has_each_mark_where_it_was_put(drawn: Path) -> None:
    root = ET.parse(drawn / "map.svg").getroot()
    seen = sorted(
        (float(circle.attrib["cx"]), float(circle.attrib["cy"]))
        for group in root.iter(f"{SVG}g")
        if group.get("id", "").startswith("mark-")
        for circle in group.findall(f"{SVG}circle")[:1]
    )
    wanted = sorted(
        ((column + 0.5) * PITCH_UM, 24000 - (row + 0.5) * PITCH_UM) for column, row in SPOTS_PX
    )
    # A quarter of a pixel is 6 um here.
    assert np.allclose(seen, wanted, atol=6.0)


def test_the_mask_is_white_at_the_marks_and_black_elsewhere(drawn: Path) -> None:
    mask = tifffile.imread(drawn / "mask.tif")
    assert mask.shape == (HEIGHT_PX, WIDTH_PX)
    for column, row in SPOTS_PX:
        assert mask[int(row), int(column)] == 255
    assert (mask > 0).mean() < 0.01


def look_at(path: Path, settings: Settings, *, content: bytes | None = None) -> Look:
    """Return what the first word of the name asks for, without opening the file."""
    del settings, content
    word = path.name.split("-")[0].split(".")[0]
    if word == "cut":
        return Look(report=bench.unreadable(str(path)))
    found = bench.dusty({"dusty": 12, "filthy": 60}.get(word, 0), seed=8)
    if word == "turned":
        found = bench.turned(bench.dusty(12))
    found = replace(found, file=str(path))
    return Look(report=found, flat=flat_for(found, bin_px=8))


@pytest.fixture
def told_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    def analyse(path: Path, settings: Settings, *, content: bytes | None = None) -> Any:
        return look_at(path, settings, content=content).report

    monkeypatch.setattr(pipeline_frame, "look_at", look_at)
    monkeypatch.setattr(pipeline_frame, "analyse", analyse)


def shots(folder: Path, *names: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        (folder / name).write_bytes(b"not empty")
    return folder


@pytest.mark.usefixtures("told_by_name")
def test_the_aperture_of_the_mask_counts_and_not_that_of_the_photographer(tmp_path: Path) -> None:
    frame = shots(tmp_path / "in", "dusty.dng") / "dusty.dng"
    covers = []
    for f_number in ("f/4", "8", "f/22"):
        target = tmp_path / "mask.png"
        check(frame, "--mask", target, "--for", f_number, "--shoot-at", "11")
        covers.append(np.count_nonzero(np.asarray(Image.open(io.BytesIO(target.read_bytes())))))
    assert len(set(covers)) == 3
    check(frame, "--mask", tmp_path / "own.png", "--shoot-at", "22")
    own = np.asarray(Image.open(io.BytesIO((tmp_path / "own.png").read_bytes())))
    assert np.count_nonzero(own) == covers[-1]


@pytest.mark.usefixtures("told_by_name")
def test_the_hold_turns_the_map(tmp_path: Path) -> None:
    frame = shots(tmp_path / "in", "dusty.dng") / "dusty.dng"
    check(frame, "--map", tmp_path / "up.svg")
    check(frame, "--map", tmp_path / "end.svg", "--hold", "grip-up")
    assert 'width="36000" height="24000"' in (tmp_path / "up.svg").read_text(encoding="utf-8")
    assert 'width="24000" height="36000"' in (tmp_path / "end.svg").read_text(encoding="utf-8")


@pytest.mark.usefixtures("told_by_name")
def test_a_folder_gives_one_page_and_one_map_a_frame(tmp_path: Path) -> None:
    folder = shots(tmp_path / "in", "dusty.dng", "ready.dng", "cut.nef", "turned.jpg")
    out = shots(tmp_path / "out")
    code = check(folder, "--map", out / "map.png", "--page", out / "trip.html")
    assert code == 1
    assert sorted(path.name for path in out.iterdir()) == [
        "map-dusty.png",
        "map-ready.png",
        "map-turned.png",
        "trip.html",
    ]
    page = (out / "trip.html").read_text(encoding="utf-8")
    assert page.count('<article class="frame"') == 4
    assert "cut.nef" in page


@pytest.mark.usefixtures("told_by_name")
def test_pictures_are_the_same_for_any_number_of_jobs(tmp_path: Path) -> None:
    folder = shots(tmp_path / "in", "dusty-1.dng", "filthy-2.dng", "ready-3.dng")
    for jobs in ("1", "3"):
        out = shots(tmp_path / jobs)
        check(
            folder, "--jobs", jobs, "--page", out / "p.html", "--mask", out / "m.png",
            "--strip", out / "s.png",
        )  # fmt: skip
    written = sorted(path.name for path in (tmp_path / "1").iterdir())
    assert len(written) == 7
    for name in written:
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "3" / name).read_bytes()


@pytest.mark.parametrize(
    ("flag", "name"),
    [("--map", "map.jpg"), ("--page", "page.pdf"), ("--strip", "s.svg"), ("--mask", "m.jpg")],
)
@pytest.mark.usefixtures("told_by_name")
def test_other_kinds_of_file_are_refused(
    tmp_path: Path, capsys: Captured, flag: str, name: str
) -> None:
    folder = shots(tmp_path / "in", "dusty.dng")
    assert check(folder, flag, tmp_path / name) == 2
    assert "does not end in" in capsys.readouterr().err
    assert not (tmp_path / name).exists()


@pytest.mark.usefixtures("told_by_name")
def test_no_picture_is_written_over(tmp_path: Path, capsys: Captured) -> None:
    frame = shots(tmp_path, "dusty.tif") / "dusty.tif"
    assert check(frame, "--mask", frame) == 2
    assert "will not be written over" in capsys.readouterr().err
    assert frame.read_bytes() == b"not empty"
    # Neither under the name that a mask gets when there are several frames.
    shots(tmp_path, "m.tif", "m-dusty.tif")
    assert check(tmp_path / "dusty.tif", tmp_path / "m-dusty.tif", "--mask", tmp_path / "m.tif")
    assert (tmp_path / "m-dusty.tif").read_bytes() == b"not empty"


@pytest.mark.usefixtures("told_by_name")
def test_a_missing_folder_is_named_before_any_work(tmp_path: Path, capsys: Captured) -> None:
    folder = shots(tmp_path / "in", "dusty.dng")
    assert check(folder, "--map", tmp_path / "nowhere" / "map.svg") == 2
    captured = capsys.readouterr()
    assert "nowhere" in captured.err
    assert captured.out == ""


ON_A_TERMINAL = (
    "import sys; import test_pictures as here; from motemap.pipeline import frame;"
    "frame.analyse = lambda path, settings, content=None:"
    " here.look_at(path, settings).report;"
    "from motemap.cli.main import main; sys.exit(main())"
)


def on_terminal(path: Path, *more: str, columns: int = 100, encoding: str = "utf-8") -> str:
    """Return what ``check`` prints on a terminal of that width."""
    leader, follower = pty.openpty()
    tests = Path(__file__).parents[1]
    surroundings = {
        **os.environ,
        "COLUMNS": str(columns),
        "TERM": "xterm",
        "NO_COLOR": "1",
        "PYTHONIOENCODING": encoding,
        "PYTHONPATH": f"{tests}{os.pathsep}{tests / 'cli'}",
    }
    process = subprocess.Popen(
        [sys.executable, "-c", ON_A_TERMINAL, "check", str(path), *more],
        stdin=subprocess.DEVNULL,
        stdout=follower,
        env=surroundings,
    )
    os.close(follower)
    content = b""
    while select.select([leader], [], [], 60)[0]:
        try:
            content += os.read(leader, 1 << 16)
        except OSError:  # the other end of the terminal is closed
            break
    process.wait(60)
    os.close(leader)
    return content.decode(encoding).replace("\r\n", "\n")


def test_a_terminal_gets_a_map(tmp_path: Path) -> None:
    frame = shots(tmp_path, "dusty.dng") / "dusty.dng"
    printed = on_terminal(frame)
    assert "┌" in printed
    assert max(map(len, printed.splitlines())) <= 100
    assert "┌" not in on_terminal(frame, "--no-map")
    assert "┌" not in on_terminal(frame, columns=20)


def test_an_ascii_terminal_gets_plain_characters(tmp_path: Path) -> None:
    printed = on_terminal(shots(tmp_path, "dusty.dng") / "dusty.dng", encoding="ascii")
    assert "+-" in printed
    assert printed.isascii()


@pytest.mark.usefixtures("told_by_name")
def test_a_pipe_or_a_file_gets_no_map(tmp_path: Path, capsys: Captured) -> None:
    frame = shots(tmp_path, "dusty.dng") / "dusty.dng"
    check(frame)
    printed = capsys.readouterr().out
    assert "edges in mm" not in printed
    check(frame, "-o", tmp_path / "report.txt")
    assert (tmp_path / "report.txt").read_text(encoding="utf-8") == printed


def test_a_dumb_terminal_is_not_trusted_with_boxes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    assert not speaks_unicode()


@pytest.fixture
def told_comparison(monkeypatch: pytest.MonkeyPatch) -> None:
    told = bench.cleaned()
    monkeypatch.setattr(pipeline_states, "load_states", lambda *_, **__: told.states)
    monkeypatch.setattr(pipeline_states, "compare_all", lambda *_, **__: told)


@pytest.mark.usefixtures("told_comparison")
def test_compare_draws_one_sensor_and_one_page(tmp_path: Path, capsys: Captured) -> None:
    folder = shots(tmp_path / "in", "before.dng", "after.dng")
    states = (str(folder / "before.dng"), str(folder / "after.dng"))
    asked = ("--map", str(tmp_path / "after.svg"), "--page", str(tmp_path / "after.html"))
    assert main(["compare", *states, *asked]) == 3
    capsys.readouterr()
    root = ET.parse(tmp_path / "after.svg").getroot()
    titles = {(title.text or "").split(".")[0] for title in root.iter(f"{SVG}title")}
    assert {"Gone", "Stayed", "Weaker", "Moved", "New", "Undecided"} <= titles
    assert "The sequence" in (tmp_path / "after.html").read_text(encoding="utf-8")
    assert main(["compare", *states, "--map", str(tmp_path / "after.png")]) == 3
    assert (tmp_path / "after.png").read_bytes().startswith(b"\x89PNG")
