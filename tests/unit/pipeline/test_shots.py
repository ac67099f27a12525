from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motemap.pipeline.shots import Shot, group_shots, is_same_time

TRIP = Path("trip")


def test_a_raw_takes_the_picture_beside_it() -> None:
    shots = group_shots([TRIP / "MOTE0001.JPG", TRIP / "MOTE0001.DNG", TRIP / "MOTE0002.JPG"])
    assert shots == (
        Shot(path=TRIP / "MOTE0001.DNG", twins=(TRIP / "MOTE0001.JPG",)),
        Shot(path=TRIP / "MOTE0002.JPG"),
    )


@pytest.mark.parametrize(
    "other",
    [
        Path("elsewhere/MOTE0001.JPG"),
        TRIP / "MOTE0002.JPG",
        TRIP / "MOTE0001.TIF",
        TRIP / "MOTE0001.NEF",
        TRIP / "MOTE0001-edit.JPG",
    ],
)
def test_other_files_are_shots_of_their_own(other: Path) -> None:
    shots = group_shots([TRIP / "MOTE0001.DNG", other])
    assert {shot.path for shot in shots} == {TRIP / "MOTE0001.DNG", other}
    assert not any(shot.twins for shot in shots)


def test_cameras_that_change_the_case() -> None:
    (shot,) = group_shots([TRIP / "mote0001.jpg", TRIP / "MOTE0001.DNG"])
    assert shot.path.name == "MOTE0001.DNG"


NAMES = [
    TRIP / f"MOTE000{number}.{suffix}" for number in range(3) for suffix in ("DNG", "JPG", "PNG")
]


@given(st.permutations(NAMES))
def test_no_file_is_lost_and_the_order_given_does_not_matter(names: list[Path]) -> None:
    shots = group_shots(names)
    assert shots == group_shots(NAMES)
    assert sorted(path for shot in shots for path in (shot.path, *shot.twins)) == sorted(NAMES)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("2031-05-02T10:15:00", "2031-05-02T10:15:00", True),
        ("2031-05-02T10:15:00", "2031-05-02T10:15:00.25+02:00", True),
        ("2031-05-02T10:15:00", "2031-05-02T10:15:01", False),
        (None, "2031-05-02T10:15:01", True),
        ("2031-05-02T10:15:00", None, True),
    ],
)
def test_times_agree(one: str | None, other: str | None, same: object) -> None:
    assert is_same_time(one, other) is same
