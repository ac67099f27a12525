"""Work shared out over processes: everything comes back, a death costs one item, all end."""

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from functools import partial
from typing import Any

import pytest

from motemap.pipeline import processes
from motemap.pipeline.processes import Lost, are_worthwhile, serve, share_out, start_method
from reporting.process import doubled, watch

# Newer Pythons warn of copies of a process that runs threads, as one that runs tests may.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
STARTS = ("fork", "spawn")


def children() -> list[int]:
    return [child.pid or 0 for child in multiprocessing.active_children()]


def given_threads(_item: int, n_threads: int) -> int:
    time.sleep(0.1)  # long enough for the others to be handed theirs
    return n_threads


@pytest.mark.parametrize("start", STARTS)
def test_every_item_comes_back_once_from_another_process(start: str) -> None:
    done = dict(share_out(doubled, range(7), jobs=2, start=start))
    assert {item: outcome[0] for item, outcome in done.items() if isinstance(outcome, tuple)} == {
        item: 2 * item for item in range(7)
    }
    workers = {outcome[1] for outcome in done.values() if isinstance(outcome, tuple)}
    assert os.getpid() not in workers
    assert len(workers) <= 2
    assert children() == []


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize(("bad", "why"), [(-1, "exit code 70"), (-2, "SIGTERM"), (-3, "SIGKILL")])
def test_a_process_that_dies_costs_the_item_it_had(start: str, bad: int, why: str) -> None:
    done = dict(share_out(doubled, [1, bad, 2, 3, 4], jobs=2, start=start))
    assert done.pop(bad) == Lost(why=why)
    assert sorted(done) == [1, 2, 3, 4]
    assert not any(isinstance(outcome, Lost) for outcome in done.values())


def test_all_may_die() -> None:
    done = dict(share_out(doubled, [-1, -2, -3], jobs=2, start="fork"))
    assert all(isinstance(outcome, Lost) for outcome in done.values())
    assert len(done) == 3


def test_a_worker_killed_while_it_waits() -> None:
    with closing(share_out(doubled, [1, 2], jobs=1, start="fork")) as shared_out:
        item, outcome = next(shared_out)
        assert (item, isinstance(outcome, Lost)) == (1, False)
        (pid,) = children()
        os.kill(pid, signal.SIGKILL)
        time.sleep(0.1)
        assert list(shared_out) == [(2, Lost(why="SIGKILL"))]


@pytest.mark.parametrize("start", STARTS)
def test_stopping_ends_all_at_once(start: str) -> None:
    items = [0, 60_000, 60_000, 60_000]
    with closing(share_out(watch, items, jobs=2, start=start)) as shared_out:
        next(shared_out)
        assert len(children()) == 2
        begun_s = time.monotonic()
    assert time.monotonic() - begun_s < 10  # the work they have in hand takes a minute
    assert children() == []


@pytest.mark.parametrize(
    ("n_items", "jobs", "n_threads"), [(1, 4, 4), (2, 4, 2), (3, 4, 1), (8, 4, 1), (3, 2, 1)]
)
def test_threads_are_shared_out_when_there_are_few_items(
    n_items: int, jobs: int, n_threads: int
) -> None:
    done = dict(share_out(given_threads, range(n_items), jobs=jobs, start="fork"))
    assert [done[item] for item in range(min(n_items, jobs))] == [n_threads] * min(n_items, jobs)


def test_without_processes_it_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_process: Any) -> None:
        raise BlockingIOError("Resource temporarily unavailable")

    monkeypatch.setattr(multiprocessing.get_context("fork").Process, "start", refuse)
    done = dict(share_out(doubled, range(3), jobs=2, start="fork"))
    assert done == {item: (2 * item, os.getpid()) for item in range(3)}


def test_nothing_to_do() -> None:
    assert list(share_out(doubled, [], jobs=2, start="fork")) == []


@pytest.fixture
def heard_ctrl_c() -> Iterator[None]:
    """Put back what Ctrl-C does: a worker in this very process would leave it deaf."""
    before = signal.getsignal(signal.SIGINT)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("heard_ctrl_c")
def test_a_worker_ends_with_its_link() -> None:
    near, far = multiprocessing.Pipe()
    other, _ = multiprocessing.Pipe()
    for item in (3, 4):
        near.send((item, 1))
    closer = threading.Timer(0.2, near.close)
    closer.start()
    serve(doubled, far, [other])
    closer.join()
    assert other.closed
    assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN


def test_how_processes_are_started(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that runs threads is not copied."""
    over = threading.Event()
    thread = threading.Thread(target=over.wait)
    thread.start()
    try:
        assert start_method() == "spawn"
    finally:
        over.set()
        thread.join()
    for start, worthwhile in (("fork", [2, 3, 4]), ("spawn", [4])):
        monkeypatch.setattr(processes, "start_method", partial(str, start))
        assert [n for n in range(5) if are_worthwhile(n)] == worthwhile
