"""Any executor carries the work: processes of this machine, and a cluster's.

The cluster is a local one of dask.distributed (extra ``cluster``); without it these tests fail.
"""

import importlib
import multiprocessing
import os
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import pytest

from drawn import dust, shoot
from faults.work import deadly_analyse
from motemap import api

Engine = Callable[[], AbstractContextManager[Executor]]


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    folder = tmp_path_factory.mktemp("archive")
    for number in range(3):
        suffix = (".dng", ".jpg")[number % 2]
        shoot(folder / f"body-{number}" / f"{number}{suffix}", dust(number), seed=number)
    (folder / "cut.dng").write_bytes((folder / "body-0" / "0.dng").read_bytes()[:7000])
    return api.find_frames([folder]).paths


@pytest.fixture(scope="module")
def here(paths: tuple[Path, ...]) -> str:
    return report(api.analyse_many(paths, api.Settings(), jobs=1))


def report(frames: tuple[api.FrameReport, ...]) -> str:
    return api.dumps(api.to_dict(frames, api.Settings()))


@contextmanager
def processes() -> Iterator[Executor]:
    spawning = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, mp_context=spawning) as executor:
        yield executor


@contextmanager
def cluster() -> Iterator[Executor]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the cluster's own affairs: sockets, event loops
        dask: Any = importlib.import_module("distributed")
        with (
            dask.LocalCluster(
                n_workers=1, threads_per_worker=2, processes=True, dashboard_address=None
            ) as local,
            dask.Client(local) as client,
        ):
            yield client.get_executor()


@pytest.mark.parametrize("engine", [processes, cluster])
def test_an_engine_says_the_same_as_one_process(
    paths: tuple[Path, ...], here: str, engine: Engine
) -> None:
    seen: list[Path] = []
    with engine() as executor:
        frames = api.analyse_many(
            paths, api.Settings(), jobs=2, executor=executor, on_done=seen.append
        )
    assert report(frames) == here
    assert sorted(seen) == sorted(paths)


def test_a_worker_that_dies_costs_frames_and_not_the_run(paths: tuple[Path, ...]) -> None:
    with processes() as executor:
        frames = api.analyse_many(
            paths, api.Settings(), jobs=2, executor=executor, analyse=deadly_analyse
        )
    assert [frame.file for frame in frames] == [str(path) for path in paths]
    lost = [frame for frame in frames if frame.error is not None]
    assert str(paths[-1]) in {frame.file for frame in lost}
    for frame in lost:
        assert frame.error is not None
        assert "was lost (BrokenProcessPool" in frame.error.cause
    assert api.RunSummary.of(frames).exit_code == 1


def test_reports_and_settings_travel(paths: tuple[Path, ...]) -> None:
    """Nothing of a process's own sticks to what is handed over."""
    with processes() as executor:
        future = executor.submit(api.analyse, paths[0], api.Settings())
        assert future.result() == api.analyse(paths[0], api.Settings())
        assert executor.submit(os.getpid).result() != os.getpid()
