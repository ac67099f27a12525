"""Once installed, no network is asked, no program started, and nothing written but the results."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from drawn import dust, shoot
from faults.program import surroundings

WATCHED = """
import json, os, socket, sys
from pathlib import Path

seen = []
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND

def watch(event, args):
    if event == "socket.__new__" and args[1] == socket.AF_UNIX:
        return  # a link to its own workers
    if event.startswith(("socket.", "urllib.", "http.", "ftplib.", "smtplib.")):
        seen.append([event, repr(args)])
    elif event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn"):
        seen.append([event, repr(args)])
    elif event == "open" and isinstance(args[0], str):
        path, mode, flags = args
        is_writing = any(letter in (mode or "") for letter in "wax+") or flags & WRITING
        if is_writing and path != os.devnull:
            seen.append([event, os.path.abspath(path)])

sys.dont_write_bytecode = True
sys.addaudithook(watch)
from motemap.cli.main import main

sys.argv[1:], said = sys.argv[2:], sys.argv[1]
code = main()
sys.stdout.flush()
Path(said).write_text(json.dumps([code, seen]))
os._exit(0)
"""


@pytest.mark.parametrize(
    ("args", "written"),
    [
        (("check", "a.dng", "b.jpg"), set()),
        (("check", "--jobs", "2", "a.dng", "b.jpg"), set()),
        (("check", "a.dng", "-o", "out.json", "--format", "json"), {"out.json"}),
        (("check", "a.dng", "--page", "out.html", "--map", "out.png"), {"out.html", "out.png"}),
        (("guide",), set()),
        (("--version",), set()),
    ],
)
def test_nothing_is_asked_and_nothing_else_written(
    tmp_path: Path, args: tuple[str, ...], written: set[str]
) -> None:
    work = tmp_path / "work"
    shoot(work / "a.dng", dust())
    shoot(work / "b.jpg", dust())
    said = tmp_path / "said.json"
    subprocess.run(
        [sys.executable, "-c", WATCHED, said, *args],
        cwd=work,
        env=surroundings(HOME=str(tmp_path / "home")),
        stdout=subprocess.DEVNULL,
        timeout=120,
        check=True,
    )
    code, seen = json.loads(said.read_text(encoding="utf-8"))
    assert code in {0, 3}
    assert [event for event in seen if event[0] != "open"] == []
    # Written beside its place first, under a name that is moved there when all is well.
    strange = [path for _, path in seen if not Path(path).name.startswith(".motemap-")]
    assert [path for path in strange if path != str(said)] == []
    assert {path.name for path in work.iterdir()} == {"a.dng", "b.jpg"} | written
    assert not (tmp_path / "home").exists()
