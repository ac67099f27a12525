import os
import random
import threading
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image
from threadpoolctl import threadpool_info, threadpool_limits

from motemap.pipeline.batch import analyse_many, default_jobs
from motemap.records import FrameReport
from motemap.settings import Settings
from reporting import builders
from reporting.process import judged_here

TRIP = Path("trip")
NAMES = [TRIP / f"MOTE{number:04}.DNG" for number in range(12)]


def judged(path: Path, _settings: Settings, **changes: Any) -> FrameReport:
    if path.name.startswith("cut"):
        return builders.unreadable(str(path))
    return builders.ready(file=str(path), **changes)


def in_odd_time(path: Path, settings: Settings) -> FrameReport:
    time.sleep(random.Random(path.name).uniform(0, 0.01))
    return judged(path, settings)


def files(frames: tuple[FrameReport, ...]) -> list[str]:
    return [frame.file for frame in frames]


@pytest.mark.parametrize("jobs", [None, 1, 2, 5])
def test_the_order_is_that_of_the_paths(jobs: int | None) -> None:
    shuffled = list(NAMES)
    random.Random(7).shuffle(shuffled)
    frames = analyse_many(shuffled, Settings(), jobs=jobs, analyse=in_odd_time)
    assert files(frames) == [str(path) for path in NAMES]


def test_nothing_to_do() -> None:
    assert analyse_many([], Settings(), analyse=judged) == ()


def test_settings_reach_the_work() -> None:
    settings = Settings()
    seen: list[Settings] = []

    def keep(path: Path, given: Settings) -> FrameReport:
        seen.append(given)
        return judged(path, given)

    analyse_many(NAMES[:1], settings, jobs=1, analyse=keep)
    assert seen[0] is settings


def test_every_file_is_reported_done_once_in_this_thread() -> None:
    here = threading.get_ident()
    done: list[tuple[int, Path]] = []
    paths = [*NAMES, TRIP / "MOTE0003.JPG"]
    analyse_many(
        paths,
        Settings(),
        jobs=3,
        analyse=judged,
        on_done=lambda path: done.append((threading.get_ident(), path)),
    )
    assert sorted(path for _, path in done) == sorted(paths)
    assert {thread for thread, _ in done} == {here}


class CountingExecutor(Executor):
    """Runs nothing until asked for a result, and counts what waits."""

    def __init__(self) -> None:
        self.inner = ThreadPoolExecutor(max_workers=1)
        self.waiting = 0
        self.most_waiting = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.waiting += 1
        self.most_waiting = max(self.most_waiting, self.waiting)
        future = self.inner.submit(fn, *args, **kwargs)
        future.add_done_callback(self.count_down)
        return future

    def count_down(self, _future: Future[Any]) -> None:
        self.waiting -= 1


def test_only_few_shots_wait_at_a_time() -> None:
    executor = CountingExecutor()
    with executor.inner:
        frames = analyse_many(NAMES, Settings(), jobs=2, executor=executor, analyse=in_odd_time)
    assert files(frames) == [str(path) for path in NAMES]
    assert executor.most_waiting <= 4


def test_processes_can_do_the_work() -> None:
    with ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn")) as executor:
        frames = analyse_many(NAMES[:3], Settings(), jobs=1, executor=executor, analyse=judged_here)
    assert files(frames) == [str(path) for path in NAMES[:3]]
    assert os.getpid() not in {int(frame.notes[0]) for frame in frames}


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_fault_in_one_frame_leaves_the_others(jobs: int) -> None:
    def failing(path: Path, settings: Settings) -> FrameReport:
        if path == NAMES[1]:
            raise ZeroDivisionError("division by zero")
        return judged(path, settings)

    frames = analyse_many(NAMES[:3], Settings(), jobs=jobs, analyse=failing)
    assert [frame.state for frame in frames] == ["judged", "unreadable", "judged"]
    assert frames[1].error is not None
    assert "ZeroDivisionError: division by zero" in frames[1].error.cause


@pytest.mark.parametrize("jobs", [1, 2])
def test_being_stopped_stops_soon(jobs: int) -> None:
    started: list[Path] = []

    def slow(path: Path, settings: Settings) -> FrameReport:
        started.append(path)
        time.sleep(0.02)
        return judged(path, settings)

    def stop(_path: Path) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        analyse_many(NAMES, Settings(), jobs=jobs, analyse=slow, on_done=stop)
    time.sleep(0.1)
    assert len(started) <= 2 * jobs + 1


@pytest.mark.parametrize("has_own", [False, True])
def test_linear_algebra_is_held_to_one_thread_before_workers_begin(*, has_own: bool) -> None:
    # A worker that did so beside one that loads a library might wait for it for ever.
    seen: set[int] = set()

    def look(path: Path, settings: Settings) -> FrameReport:
        seen.update(each["num_threads"] for each in threadpool_info() if each["user_api"] == "blas")
        return judged(path, settings)

    with threadpool_limits(limits=2, user_api="blas"), ThreadPoolExecutor(2) as own:
        executor = own if has_own else None
        analyse_many(NAMES[:3], Settings(), jobs=2, analyse=look, executor=executor)
    assert seen == {1}


def test_jobs_by_default(monkeypatch: pytest.MonkeyPatch) -> None:
    for n_cpu, jobs in ((None, 1), (1, 1), (2, 2), (64, 4)):
        monkeypatch.setattr(os, "cpu_count", lambda n_cpu=n_cpu: n_cpu)
        assert default_jobs() == jobs


# A raw and the picture the camera wrote beside it.


TAKEN = "2031-05-02T10:15:00"  # what the builders' frames say


def beside(folder: Path, *names: str, taken_at: str | None) -> list[Path]:
    """Write files that say nothing but when they were taken."""
    exif = Image.Exif()
    if taken_at is not None:
        exif[ExifTags.Base.DateTime] = taken_at.replace("-", ":").replace("T", " ")
    for name in names:
        Image.new("L", (3, 2)).save(folder / name, format="JPEG", exif=exif)
    return [folder / name for name in names]


@pytest.mark.parametrize("taken_at", [None, TAKEN])
@pytest.mark.parametrize("jobs", [1, 2])
def test_a_shot_counts_once(tmp_path: Path, taken_at: str | None, jobs: int) -> None:
    paths = beside(tmp_path, "MOTE0001.JPG", "MOTE0001.DNG", "MOTE0002.JPG", taken_at=taken_at)
    frames = analyse_many(paths, Settings(), jobs=jobs, analyse=judged)
    assert [Path(file).name for file in files(frames)] == ["MOTE0001.DNG", "MOTE0002.JPG"]
    assert frames[0].notes == ("MOTE0001.JPG is the same shot and was left out.",)
    assert frames[1].notes == ()


def test_another_time_is_another_shot(tmp_path: Path) -> None:
    paths = beside(tmp_path, "MOTE0001.JPG", "MOTE0001.DNG", taken_at="2031-05-02T10:15:07")
    frames = analyse_many(paths, Settings(), jobs=1, analyse=judged)
    assert [Path(file).name for file in files(frames)] == ["MOTE0001.DNG", "MOTE0001.JPG"]
    assert not any(frame.notes for frame in frames)


def test_a_picture_that_vanishes_is_left_out(tmp_path: Path) -> None:
    paths = beside(tmp_path, "MOTE0001.DNG", taken_at=TAKEN)
    frames = analyse_many([*paths, tmp_path / "MOTE0001.JPG"], Settings(), jobs=1, analyse=judged)
    assert frames[0].notes == ("MOTE0001.JPG is the same shot and was left out.",)


def test_a_raw_that_cannot_be_read_does_not_hide_its_picture(tmp_path: Path) -> None:
    def only_the_picture(path: Path, settings: Settings) -> FrameReport:
        if path.suffix == ".NEF":
            return builders.unreadable(str(path))
        return judged(path, settings)

    paths = beside(tmp_path, "MOTE0001.NEF", "MOTE0001.JPG", "MOTE0000.JPG", taken_at=None)
    frames = analyse_many(paths, Settings(), jobs=1, analyse=only_the_picture)
    assert [(Path(frame.file).name, frame.state) for frame in frames] == [
        ("MOTE0000.JPG", "judged"),
        ("MOTE0001.JPG", "judged"),
        ("MOTE0001.NEF", "unreadable"),
    ]


def test_the_work_can_be_bound_to_more() -> None:
    bound = partial(judged, notes=("kept",))
    (report,) = analyse_many(NAMES[:1], Settings(), analyse=bound)
    assert report.notes == ("kept",)
