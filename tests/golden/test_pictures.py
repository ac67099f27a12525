"""Pictures drawn today are, to the last byte, those that were looked at and kept."""

import pytest

from picturing.golden import FOLDER, pictures

PICTURES = pictures()


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_is_as_it_was(name: str) -> None:
    assert PICTURES[name] == (FOLDER / name).read_text(encoding="utf-8")


def test_every_golden_file_is_drawn() -> None:
    assert sorted(PICTURES) == sorted(path.name for path in FOLDER.iterdir())
