"""Frames judged in processes of their own: one may die, and none is left behind."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from drawn import dust, shoot
from faults.program import begin, is_there, many_of, run, surroundings, wait_for_work, workers_of
from motemap.cli.main import THREAD_VARIABLES

SOON_S = 20.0
"""For a machine on which much else is going on; a frame takes a tenth of a second."""


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    folder = tmp_path / "trip"
    folder.mkdir()
    many_of(shoot(folder / "a.dng", dust()), n_copies=40)
    return folder


@pytest.fixture
def few(tmp_path: Path) -> Path:
    """Return a folder of a few frames only, for runs that go on to their end."""
    folder = tmp_path / "few"
    folder.mkdir()
    many_of(shoot(folder / "a.dng", dust()), n_copies=4)
    return folder


def wait_until_gone(pids: list[int]) -> None:
    until_s = time.monotonic() + SOON_S
    while any(is_there(pid) for pid in pids):
        assert time.monotonic() < until_s, "a worker was left behind"
        time.sleep(0.02)


def test_a_worker_that_dies_costs_one_frame(trip: Path) -> None:
    with begin("check", "--jobs", "2", "--format", "json", trip) as process:
        wait_for_work(process)
        victim = workers_of(process)[0]
        os.kill(victim, signal.SIGKILL)
        stdout, stderr = process.communicate(timeout=120)
    assert (process.returncode, stderr) == (1, b"")
    frames = json.loads(stdout)["frames"]
    assert len(frames) == 41
    (lost,) = (frame["error"] for frame in frames if frame["error"] is not None)
    assert lost["cause"] == "The worker that judged this picture was lost (SIGKILL)."
    assert not is_there(victim)


@pytest.mark.parametrize("signalled", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_no_worker_outlives_the_run(trip: Path, signalled: signal.Signals) -> None:
    with begin("check", "--jobs", "2", trip) as process:
        wait_for_work(process)
        workers = workers_of(process)
        process.send_signal(signalled)
        process.communicate(timeout=60)
    assert process.returncode in {130, -signalled}
    wait_until_gone(workers)


def test_ctrl_c_on_a_terminal_says_one_word(trip: Path) -> None:
    """A terminal sends it to every process: only the first may speak."""
    with begin("check", "--jobs", "2", trip, start_new_session=True) as process:
        wait_for_work(process)
        workers = workers_of(process)
        os.killpg(process.pid, signal.SIGINT)
        stdout, stderr = process.communicate(timeout=60)
    assert (process.returncode, stdout, stderr.strip()) == (130, b"", b"Stopped.")
    wait_until_gone(workers)


@pytest.mark.parametrize("stream", [0, 1, 2])
def test_workers_with_a_standard_stream_closed(few: Path, stream: int) -> None:
    """The links to the workers may then have the numbers that decoders print to."""
    (few / "cut.dng").write_bytes((few / "a.dng").read_bytes()[:9000])
    target = few.with_name("report.json")
    args = ("check", "--jobs", "2", "--format", "json", "-o", target, few)
    whole = run(*args)
    report = target.read_bytes()
    shut = run(*args, preexec_fn=lambda: os.close(stream))
    assert whole.returncode == shut.returncode == 1
    assert target.read_bytes() == report


def test_workers_are_copies_of_the_program(trip: Path) -> None:
    """Nothing is started from nothing where that is not needed: half a second each."""
    more = dict.fromkeys(THREAD_VARIABLES, "2")  # the program sees to it itself
    with begin("check", "--jobs", "2", trip, env={**surroundings(), **more}) as process:
        wait_for_work(process)
        words = {Path(f"/proc/{pid}/cmdline").read_bytes() for pid in workers_of(process)}
        assert words == {Path(f"/proc/{process.pid}/cmdline").read_bytes()}
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)


AMONG_THREADS = """
import sys, threading

over = threading.Event()
threading.Thread(target=over.wait, daemon=True).start()
from motemap.cli.main import main
from motemap.pipeline import processes

assert processes.start_method() == "spawn"
code = main()
over.set()
sys.exit(code)
"""


def test_workers_that_begin_from_nothing_say_the_same(few: Path) -> None:
    """As on systems where no copy of a process can be made."""
    args = ("check", "--jobs", "2", "--format", "json", str(few))
    copied = run(*args)
    spawned = subprocess.run(
        [sys.executable, "-c", AMONG_THREADS, *args],
        env=surroundings(),
        capture_output=True,
        timeout=120,
        check=False,
    )
    assert (spawned.returncode, spawned.stderr) == (copied.returncode, copied.stderr) == (3, b"")
    assert spawned.stdout == copied.stdout
