import errno
import os
import stat
import threading
from pathlib import Path

import pytest

from motemap.errors import OutputError, SettingsError
from motemap.pipeline.write import refuse_target, write_whole


def test_writes_the_whole_and_leaves_nothing_beside(tmp_path: Path) -> None:
    target = tmp_path / "report.json"
    write_whole(target, b"first")
    write_whole(target, b"second")
    assert target.read_bytes() == b"second"
    assert list(tmp_path.iterdir()) == [target]


def test_rights_are_those_of_any_new_file_and_kept_later(tmp_path: Path) -> None:
    target = tmp_path / "report.json"
    old = os.umask(0o027)
    try:
        write_whole(target, b"first")
    finally:
        os.umask(old)
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    target.chmod(0o600)
    write_whole(target, b"second")
    assert stat.S_IMODE(target.stat().st_mode) == 0o600


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_bytes(b"old")
    (tmp_path / "link.json").symlink_to(tmp_path / "real.json")
    write_whole(tmp_path / "link.json", b"new")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"


def test_a_pipe_is_written_through(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_whole(pipe, b"report")
    reader.join(timeout=10)
    assert got == [b"report"]


@pytest.mark.parametrize("fault", [OSError(errno.ENOSPC, "No space left on device")])
def test_a_full_disk_leaves_the_old_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: OSError
) -> None:
    target = tmp_path / "report.json"
    target.write_bytes(b"old")

    def full(_handle: int) -> None:
        raise fault

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_being_stopped_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(_handle: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "report.json", b"new")
    assert not list(tmp_path.iterdir())


def test_a_device_that_is_full() -> None:
    with pytest.raises(OutputError, match="could not be written"):
        write_whole(Path("/dev/full"), b"report")


def test_inputs_are_not_written_over(tmp_path: Path) -> None:
    shot = tmp_path / "MOTE0001.dng"
    shot.write_bytes(b"x")
    (tmp_path / "link.json").symlink_to(shot)
    for target in (shot, tmp_path / "link.json", tmp_path / "." / "MOTE0001.dng"):
        with pytest.raises(SettingsError, match="will not be written over"):
            refuse_target(target, [tmp_path / "absent.dng", shot])


def test_a_missing_folder_is_told_before_the_work(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="does not exist"):
        refuse_target(tmp_path / "absent" / "report.json", [])


def test_a_new_file_and_standard_output_are_fine(tmp_path: Path) -> None:
    refuse_target(tmp_path / "report.json", [tmp_path / "MOTE0001.dng"])
    refuse_target(None, [])
