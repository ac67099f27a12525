"""The same report, byte for byte: on a second run, for any number of workers and threads."""

import subprocess
import sys
from pathlib import Path

import pytest

from drawn import dust, shoot
from faults.program import run, surroundings

THREADS = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"), "2")
RUNS: dict[str, tuple[tuple[str, ...], dict[str, str]]] = {
    "first": (("--jobs", "1"), {}),
    "second, two threads": (("--jobs", "1"), THREADS),
    "two jobs": (("--jobs", "2"), {}),
    "many jobs, two threads": (("--jobs", "7"), THREADS),
    "elsewhere": ((), {"PYTHONHASHSEED": "99", "TZ": "Pacific/Auckland", "LC_ALL": "C"}),
}


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("same") / "trip"
    for number in range(3):
        suffix = (".dng", ".jpg")[number % 2]
        shoot(folder / f"{number}{suffix}", dust(number), seed=number)
    (folder / "cut.dng").write_bytes((folder / "0.dng").read_bytes()[:7000])
    return folder


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_reports_are_the_same(tmp_path: Path, trip: Path, form: str) -> None:
    said: dict[str, bytes] = {}
    names = RUNS if form == "json" else ("first", "many jobs, two threads")
    for name in names:
        args, more = RUNS[name]
        page = ("--page", tmp_path / f"{name}.html") if form == "json" else ()
        result = run("check", "--format", form, *args, *page, trip, env=surroundings(**more))
        assert (result.returncode, result.stderr) == (1, b"")
        said[name] = result.stdout
    assert [name for name, report in said.items() if report != said["first"]] == []
    assert said["first"].count(b"cut.dng") >= 1
    n_pages = len({page.read_bytes() for page in tmp_path.glob("*.html")})
    assert n_pages == (1 if form == "json" else 0)


def test_a_program_that_uses_the_package_gets_the_same(trip: Path) -> None:
    """To the last digit; with these kernels of OpenBLAS the number of its threads tells."""
    judging = (
        "import sys; from motemap import api\n"
        "paths = api.find_frames(sys.argv[1:]).paths\n"
        "print(api.analyse_many(paths, api.Settings(), jobs=1))"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", judging, str(trip)],
            env=surroundings(OPENBLAS_CORETYPE="Haswell", OPENBLAS_NUM_THREADS=n_threads),
            check=True,
            capture_output=True,
        ).stdout
        for n_threads in ("1", "2")
    }
    assert len(said) == 1
