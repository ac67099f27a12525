"""The speed benchmark at its tiniest: everything runs, and the page is filled; no time is held.

What a machine that does other things takes is no test. What must not depend on it is: that the
files are what they are said to be, and what is written about missed goals.
"""

import json
import os
from pathlib import Path

import numpy as np
import pytest
import speed
from accuracy_parts.frames import with_light
from accuracy_parts.scoring import match
from accuracy_parts.truths import truths_of
from speed_parts import material, page, page_text
from speed_parts.goals import JUDGES, goals_of
from speed_parts.parts import PARTS, Figures, slope
from speed_parts.pipelines import PIPELINES
from speed_parts.sizes import SIZES
from speed_parts.timing import in_turns

from motemap.pipeline.frame import analyse, load_frame
from motemap.settings import Settings

TINY = SIZES["tiny"]


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Figures:
    chosen = speed.parse(["--size", "tiny", "--folder", str(tmp_path_factory.mktemp("speed"))])
    return speed.measure(chosen)


def test_every_part_fills_its_section(results: Figures, tmp_path: Path) -> None:
    read_back = json.loads(json.dumps(results, allow_nan=False))
    assert set(PARTS) | {"made"} == set(read_back)
    page.write_page(read_back, tmp_path)
    written = (tmp_path / page.PAGE).read_text(encoding="utf-8")
    for said in (page_text.DECODING, page_text.STAGES, page_text.CONTEST, page_text.FRAMES):
        assert said.strip() in written
    assert str(Path.home()) not in written
    assert os.sep + "tmp" not in written


def test_goals_are_judged_and_explained(results: Figures) -> None:
    goals = goals_of(results)
    assert {goal.key for goal in goals} == set(page_text.WHY)
    assert len(goals) > len(JUDGES)
    for goal in goals:
        assert goal.measured not in {"", "-"}


def test_pipelines_are_scored_on_the_same_marks(results: Figures) -> None:
    assert results["contest"]["planes"]
    for plane in results["contest"]["planes"]:
        scores = plane["rows"].values()
        assert len({row["n_counting"] for row in scores}) == 1
        own = next(iter(scores))
        assert own["n_found"] >= 0.9 * own["n_counting"]
        assert own["n_extra"] <= 1


def test_every_pipeline_finds_much_of_what_is_there(tmp_path: Path) -> None:
    path, drawn, laid = material.draw_single(TINY, tmp_path, "dng")
    frame = load_frame(path, Settings())
    truths = with_light(truths_of(drawn, laid), frame.plane)
    for name, pipeline in PIPELINES.items():
        result = match(truths, pipeline(frame))
        assert len(result.taken) > 0.4 * len(result.groups), name


def test_stages_are_all_met(results: Figures) -> None:
    assert results["stages"]
    for taken in results["stages"].values():
        assert len(taken) == 11
        # Clocks of two kinds, read one after the other: they differ by microseconds.
        assert all(stage["wall_s"] > -1e-3 for stage in taken.values())


def test_memory_is_that_of_the_process(results: Figures) -> None:
    """Not that of this one, which is larger than a Python that does nothing."""
    assert results["starting"]["python -c pass"]["peak_mb"] < 40
    assert results["decoding"]["raw"]["check"]["peak_mb"] > 60


def test_a_command_that_fails_is_no_measurement() -> None:
    with pytest.raises(RuntimeError, match=r"ended with 1: .*no such luck"):
        in_turns({"bad": ["-c", "raise SystemExit('no such luck')"]}, 1)


def test_mirrored_frames_go_on_as_they_began() -> None:
    codes = np.arange(4 * 6, dtype=np.uint16).reshape(4, 6)
    wide = material.mirrored(codes, 14, 1)
    assert wide[0].tolist() == [0, 1, 2, 3, 4, 5, 4, 3, 2, 1, 0, 1, 2, 3]
    # A 2 x 2 mosaic goes on: even columns stay even.
    assert (np.unique(wide[:, ::2]) % 2 == 0).all()


def test_a_frame_with_many_marks_has_so_many(tmp_path: Path) -> None:
    paths = material.draw_spots(TINY, tmp_path)
    for n_spots, path in paths.items():
        counts = analyse(path, Settings()).counts
        assert counts is not None
        # Some of the smallest specks are too faint, and mirror axes cut through a few.
        assert 0.6 * n_spots <= counts.found <= 1.2 * n_spots


def test_slopes() -> None:
    assert slope([1.0, 2.0, 4.0], [3.0, 6.0, 12.0]) == pytest.approx(1.0)
    assert slope([1.0, 2.0, 4.0], [1.0, 4.0, 16.0]) == pytest.approx(2.0)
    assert slope([1.0], [1.0]) is None


def test_the_command_names_no_place() -> None:
    chosen = speed.parse(["--size", "full", "--page", "--json", "kept.json", "--folder", "there"])
    assert speed.command_of(chosen) == "python tests/benchmarks/speed.py --size full --page"
