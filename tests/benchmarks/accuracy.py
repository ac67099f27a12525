"""Measures how well dust is found, on drawn frames whose dust is known.

Run by hand, from the repository's root; the first takes seconds, the last about an hour::

    python tests/benchmarks/accuracy.py --size tiny
    python tests/benchmarks/accuracy.py --size small --rows "filthy,border"
    python tests/benchmarks/accuracy.py --size full --all --page --json accuracy.json

It prints tables and where it failed worst. Any frame can be drawn again with its truth::

    python tests/benchmarks/accuracy.py --size small --redraw "border/raw/1" --to FOLDER
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from accuracy_parts import page, tables
from accuracy_parts.grid import ALL_ROWS
from accuracy_parts.results import Run, results_of
from accuracy_parts.rows import SEEDS, Job, Row, Size, jobs_of
from accuracy_parts.running import Outcome, run_faint, run_grid
from rough_parts.judging import OddScore, RoughScore, judge_all

from motemap.synth.frame import draw_frame
from motemap.synth.store import SUFFIXES, write_frame, write_truth
from publishing import add_output_options, publish, publish_again


def main() -> None:
    """Do what the command line asks for."""
    chosen = parse(sys.argv[1:])
    if chosen.page_from:
        publish_again(chosen.page_from, page.write_page)
        return
    rows = chosen_rows(chosen.rows)
    jobs = jobs_of(rows, chosen.size, chosen.seeds)
    if chosen.redraw:
        redraw(named(jobs, chosen.redraw), chosen.to)
        return
    results = results_of(run(chosen, rows, jobs))
    print(tables.all_tables(results))
    publish(chosen, results, page.write_page)


def parse(words: list[str]) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Measure how well dust is found.")
    add = parser.add_argument
    add("--size", choices=tuple(SEEDS), default="tiny", help="of the frames and of the grid")
    add("--seeds", default="", help="seeds, parted by commas; two by default")
    add("--rows", default="", help="only these rows, parted by semicolons")
    add("--jobs", type=int, default=1, help="processes")
    add("--others", action="store_true", help="run other people's detectors as well")
    add("--limit", action="store_true", help="measure the distance to the matched filter")
    add("--rough", action="store_true", help="judge rough frames and odd pictures")
    add("--all", action="store_true", help="all three")
    add_output_options(parser, f"{page.PAGE} and its plots")
    add("--redraw", default="", help="only draw one frame again: row/variant/seed")
    add("--to", type=Path, default=Path(), help="folder for --redraw")
    chosen = parser.parse_args(words)
    seeds = tuple(int(seed) for seed in chosen.seeds.split(",") if seed)
    chosen.seeds = seeds or seed_of(chosen.redraw) or SEEDS[chosen.size]
    return chosen


def seed_of(name: str) -> tuple[int, ...]:
    """Return the seed that a frame's name ends in, if it does."""
    last = name.rpartition("/")[2]
    return (int(last),) if last.isdecimal() else ()


def named(jobs: tuple[Job, ...], name: str) -> Job:
    """Return the frame of this name."""
    found = [job for job in jobs if job.name == name]
    if not found:
        raise SystemExit(f"There is no frame {name!r} at this size; names are row/variant/seed.")
    return found[0]


def chosen_rows(names: str) -> tuple[Row, ...]:
    """Return the rows of these names; all when there are none."""
    wanted = {name.strip() for name in names.split(";") if name.strip()}
    return tuple(row for row in ALL_ROWS if not wanted or row.name in wanted)


def run(chosen: argparse.Namespace, rows: tuple[Row, ...], jobs: tuple[Job, ...]) -> Run:
    """Run everything that was asked for; one line a frame while it goes on."""
    part_size: Size = "tiny" if chosen.size == "tiny" else "small"
    outcomes = judged(jobs, chosen.jobs, has_rivals=False)
    contest = []
    if chosen.others or chosen.all:
        # Some of the others are slow: one seed of middle-sized frames has to do.
        contest_jobs = jobs_of(rows, part_size, chosen.seeds[:1])
        contest = judged(contest_jobs, chosen.jobs, has_rivals=True)
    faint = []
    if chosen.limit or chosen.all:
        faint = list(run_faint(part_size, chosen.seeds[0], chosen.jobs))
    rough: list[RoughScore] = []
    odd: list[OddScore] = []
    if chosen.rough or chosen.all:
        with tempfile.TemporaryDirectory() as folder:
            rough, odd = judge_all(chosen.seeds, Path(folder))
    return Run(
        size=chosen.size,
        seeds=chosen.seeds,
        command=command_of(chosen),
        rows=rows,
        outcomes=outcomes,
        contest=contest,
        faint=faint,
        rough=rough,
        odd=odd,
    )


def judged(jobs: tuple[Job, ...], n_processes: int, *, has_rivals: bool) -> list[Outcome]:
    """Judge frames and print a line about each as it is done."""
    outcomes = []
    for outcome in run_grid(jobs, n_processes, has_rivals=has_rivals):
        print(tables.frame_line(outcome.score), flush=True)
        outcomes.append(outcome)
    return outcomes


def redraw(job: Job, folder: Path) -> None:
    """Draw one frame of the grid again and write it with its truth."""
    drawn = draw_frame(job.spec)
    path = folder / (job.name.replace("/", "_").replace(" ", "-") + SUFFIXES[job.spec.file.format])
    write_frame(drawn, path)
    write_truth(drawn, path.with_suffix(".truth.json"), file_name=path.name)
    print(path)


def command_of(chosen: argparse.Namespace) -> str:
    """Return the command that brings the same figures; where they go is left out."""
    words = ["python tests/benchmarks/accuracy.py", f"--size {chosen.size}"]
    if chosen.seeds != SEEDS[chosen.size]:
        words.append(f"--seeds {','.join(map(str, chosen.seeds))}")
    if chosen.rows:
        words.append(f'--rows "{chosen.rows}"')
    parts = ("others", "limit", "rough", "all", "page")
    words.extend(f"--{part}" for part in parts if getattr(chosen, part))
    return " ".join(words)


if __name__ == "__main__":
    main()
