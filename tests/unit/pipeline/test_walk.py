import os
import stat
from pathlib import Path

import pytest

from motemap.errors import SettingsError
from motemap.pipeline.walk import canonical, find_frames


def touch(folder: Path, *names: str) -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


def found_in(folder: Path, *names: str) -> list[str]:
    wanted = [folder / name for name in names] or [folder]
    return [str(path.relative_to(folder)) for path in find_frames(wanted).paths]


def test_a_folder_is_walked_in_order(tmp_path: Path) -> None:
    touch(tmp_path, "b/MOTE0003.dng", "MOTE0002.JPG", "a/z/MOTE0001.NEF", "MOTE0001.tiff")
    assert found_in(tmp_path) == [
        "MOTE0001.tiff",
        "MOTE0002.JPG",
        "a/z/MOTE0001.NEF",
        "b/MOTE0003.dng",
    ]


def test_what_is_no_picture_is_passed_over(tmp_path: Path) -> None:
    touch(
        tmp_path,
        "MOTE0001.dng",
        "MOTE0001.xmp",
        "MOTE0001.dng.xmp",
        "MOTE0001.txt",
        "MOTE0001.thm",
        "Thumbs.db",
        "report.json",
        "clip.mov",
        "dng",
        ".MOTE0001.dng",
        "._MOTE0001.dng",
        ".thumbnails/MOTE0001.jpg",
        "@eaDir/MOTE0001.jpg",
        "__MACOSX/MOTE0001.jpg",
    )
    assert found_in(tmp_path) == ["MOTE0001.dng"]


def test_a_file_given_by_name_is_always_tried(tmp_path: Path) -> None:
    touch(tmp_path, ".hidden.xyz")
    assert found_in(tmp_path, ".hidden.xyz") == [".hidden.xyz"]


def test_pictures_that_cannot_be_read_are_not_passed_over(tmp_path: Path) -> None:
    # HEIC is not read; a photographer who shot nothing else must be told so.
    touch(tmp_path, "MOTE0001.HEIC", "MOTE0002.hif")
    assert found_in(tmp_path) == ["MOTE0001.HEIC", "MOTE0002.hif"]


def test_the_order_given_does_not_matter_and_nothing_is_read_twice(tmp_path: Path) -> None:
    touch(tmp_path, "one/MOTE0001.jpg", "two/MOTE0002.jpg")
    names = [tmp_path / "two", tmp_path / "one", tmp_path, tmp_path / "one/MOTE0001.jpg"]
    once = find_frames(names)
    assert [path.name for path in once.paths] == ["MOTE0001.jpg", "MOTE0002.jpg"]
    assert find_frames(reversed(names)) == once


def test_the_same_file_by_two_names_is_read_once(tmp_path: Path) -> None:
    touch(tmp_path, "MOTE0001.jpg")
    (tmp_path / "again.jpg").symlink_to(tmp_path / "MOTE0001.jpg")
    assert found_in(tmp_path) == ["MOTE0001.jpg"]


def test_links_that_lead_back_end(tmp_path: Path) -> None:
    touch(tmp_path, "deep/MOTE0001.jpg")
    (tmp_path / "deep" / "up").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert found_in(tmp_path) == ["deep/MOTE0001.jpg"]


def test_a_linked_folder_is_walked(tmp_path: Path) -> None:
    touch(tmp_path, "elsewhere/MOTE0001.jpg", "trip/MOTE0002.jpg")
    (tmp_path / "trip" / "more").symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    found = find_frames([tmp_path / "trip"]).paths
    assert [path.name for path in found] == ["MOTE0002.jpg", "MOTE0001.jpg"]


def test_a_link_that_leads_nowhere_is_kept_to_be_reported(tmp_path: Path) -> None:
    touch(tmp_path, "MOTE0001.jpg")
    (tmp_path / "MOTE0002.jpg").symlink_to(tmp_path / "gone.jpg")
    assert found_in(tmp_path) == ["MOTE0001.jpg", "MOTE0002.jpg"]


@pytest.mark.parametrize("name", ["absent.jpg", "absent/deeper", "x" * 300])
def test_a_path_that_is_not_there(tmp_path: Path, name: str) -> None:
    touch(tmp_path, "MOTE0001.jpg")
    with pytest.raises(SettingsError, match="no such file") as caught:
        find_frames([tmp_path, tmp_path / name])
    assert caught.value.path == str(tmp_path / name)


def test_a_folder_without_a_picture(tmp_path: Path) -> None:
    touch(tmp_path, "trip/MOTE0001.jpg", "empty/deeper/notes.txt")
    with pytest.raises(SettingsError, match="no picture in this folder") as caught:
        find_frames([tmp_path / "trip", tmp_path / "empty"])
    assert caught.value.path == str(tmp_path / "empty")


def test_a_folder_that_may_not_be_read_is_reported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    touch(tmp_path, "MOTE0001.jpg", "locked/MOTE0002.jpg")
    plain = Path.iterdir

    # A test may run as root, whom no folder is closed to.
    def refusing(folder: Path) -> object:
        if folder.name == "locked":
            raise PermissionError(13, "Permission denied")
        return plain(folder)

    monkeypatch.setattr(Path, "iterdir", refusing)
    found = find_frames([tmp_path])
    assert [path.name for path in found.paths] == ["MOTE0001.jpg"]
    (trouble,) = found.troubles
    assert trouble.file == str(tmp_path / "locked")
    assert trouble.state == "unreadable"
    assert trouble.error is not None
    assert "Permission denied" in trouble.error.cause
    assert not find_frames([tmp_path / "locked"]).paths


def test_a_name_behind_a_closed_folder_is_reported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refusing(_path: Path) -> os.stat_result:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "stat", refusing)
    (trouble,) = find_frames([tmp_path / "MOTE0001.jpg"]).troubles
    assert trouble.file.endswith("MOTE0001.jpg")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg", stat.S_IRUSR | stat.S_IWUSR)
    touch(tmp_path, "MOTE0001.jpg")
    assert found_in(tmp_path) == ["MOTE0001.jpg"]
    (trouble,) = find_frames([tmp_path / "pipe.jpg"]).troubles
    assert trouble.error is not None
    assert "neither a file nor a folder" in trouble.error.cause


@pytest.mark.parametrize(
    "name",
    [b"latin-\xe9.jpg", b"two words.jpg", b"line\nfeed.jpg", b"-o.jpg", b"n" * 251 + b".jpg"],
)
def test_odd_names(tmp_path: Path, name: bytes) -> None:
    (tmp_path / os.fsdecode(name)).write_bytes(b"x")
    (path,) = find_frames([tmp_path]).paths
    assert os.fsencode(path.name) == name


def test_order_is_folder_by_folder() -> None:
    paths = [Path("a-b/1.jpg"), Path("a/2.jpg"), Path("a.jpg")]
    assert sorted(paths, key=canonical) == [Path("a/2.jpg"), Path("a-b/1.jpg"), Path("a.jpg")]
