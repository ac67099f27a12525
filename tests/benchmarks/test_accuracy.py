"""The accuracy harness at its tiniest: it runs, and its figures are sane."""

import json
import sys
from pathlib import Path

import accuracy
import pytest
from accuracy_parts import page
from accuracy_parts.grid import ALL_ROWS, FAINT_VARIANTS
from accuracy_parts.results import Run, results_of
from accuracy_parts.rows import jobs_of
from accuracy_parts.running import run_faint, run_grid, run_job
from accuracy_parts.tables import Figures, all_tables


@pytest.fixture(scope="module")
def run() -> Run:
    """Return a run of the tiny grid, one frame of it seen by the other detectors too."""
    jobs = jobs_of(ALL_ROWS, "tiny", (1,))
    outcomes = list(run_grid(jobs, 1, has_rivals=False))
    border = next(job for job in jobs if job.row == "border")
    return Run(
        size="tiny",
        seeds=(1,),
        command="python tests/benchmarks/accuracy.py --size tiny",
        rows=ALL_ROWS,
        outcomes=outcomes,
        contest=[run_job(border, has_rivals=True)],
        faint=list(run_faint("tiny", 1, 1, variants=FAINT_VARIANTS[:1])),
    )


@pytest.fixture(scope="module")
def results(run: Run) -> Figures:
    return results_of(run)


def test_nearly_all_dust_is_found_in_every_kind_of_frame(results: Figures) -> None:
    # Tiny frames hold 12 to 16 marks each, so that one missed is 7 %.
    assert results["barred"]["n_counting"] > 60
    assert results["barred"]["recall_frac"] > 0.96
    for row in results["rows"]:
        assert row["recall_frac"] is None or row["recall_frac"] > 0.85, row["name"]


def test_a_clean_frame_shows_nothing(results: Figures) -> None:
    clean = next(row for row in results["rows"] if row["name"] == "clean")
    assert clean["n_false"] == 0
    assert results["barred"]["n_false"] <= 1


def test_marks_are_measured_where_and_as_they_are(results: Figures) -> None:
    barred = results["barred"]
    assert barred["offset_px"]["median"] < 0.25
    assert barred["offset_px"]["most"] < 1.5
    # A tenth: a shadow of the usual speck spans three cells only.
    assert barred["depth"]["median"] < 0.1
    assert barred["width"]["median"] < 0.1


def test_no_frame_is_refused(results: Figures) -> None:
    assert results["barred"]["n_reshoot"] == 0


def test_the_limit_lies_below_what_is_reached(results: Figures) -> None:
    (distance,) = results["distances"]
    assert 1.0 < distance["most_ratio"] < 2.0


def test_other_detectors_are_scored_on_the_same_marks(results: Figures) -> None:
    (contest,) = results["contests"]
    assert len(contest["kind"]) == 6
    best = max(equal["recall_frac"] or 0.0 for equal in contest["kind"].values())
    assert 0.5 < best <= 1.0


def test_figures_survive_json_and_fill_tables_and_page(results: Figures, tmp_path: Path) -> None:
    read_back = json.loads(json.dumps(results, allow_nan=False))
    assert "plain" in all_tables(read_back)
    page.write_page(read_back, tmp_path)
    written = (tmp_path / "docs/explanation/accuracy.md").read_text(encoding="utf-8")
    assert "## How far from the best possible" in written
    for name in ("accuracy-depth.svg", "accuracy-limit.svg", "accuracy-others.svg"):
        assert (tmp_path / "docs/pictures" / name).read_text(encoding="utf-8").startswith("<svg")
        assert name in written


def test_a_frame_is_drawn_again_by_its_name_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["accuracy.py", "--size", "tiny", "--redraw", "border/raw/31", "--to", str(tmp_path)]
    monkeypatch.setattr(sys, "argv", words)
    accuracy.main()
    truth = json.loads((tmp_path / "border_raw_31.truth.json").read_text(encoding="utf-8"))
    assert truth["marks"]
    assert (tmp_path / "border_raw_31.dng").stat().st_size > 0
    monkeypatch.setattr(sys, "argv", [*words[:4], "border/raw/x", *words[5:]])
    with pytest.raises(SystemExit, match="no frame 'border/raw/x'"):
        accuracy.main()
