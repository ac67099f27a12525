"""Judged frames and the record: what is kept, and what it changes."""

from dataclasses import replace
from pathlib import Path

import pytest

from kept import KEY, report
from motemap.bodies import BodyKey
from motemap.errors import RecordError, SettingsError
from motemap.history import Store
from motemap.pipeline.again import judge_again
from motemap.pipeline.course import course, courses, find_body
from motemap.pipeline.record import (
    NO_BODY,
    UNFIT,
    digest_of,
    judge_with_record,
    keep,
    keep_and_judge,
    keep_sequence,
)
from motemap.pipeline.states import compare_all
from motemap.records import FrameReport, Spot, Stack
from motemap.settings import Settings, WorkSettings
from sequences import BODY, Shot, spot

PLAIN = Shot()
WORK = WorkSettings()


def mark(number: int) -> Spot:
    plain = spot(number, 500.0 * number, 300.0 * number, shot=PLAIN, depth_frac=0.3)
    return replace(plain, depth_at={"11": 0.08, "22": 0.3})


def frame(day: int, *marks: Spot, hour: int = 10) -> FrameReport:
    numbered = [replace(each, id=number) for number, each in enumerate(marks, start=1)]
    file = f"{day}-{hour}.dng"
    plain = report(f"2031-05-{day:02d}T{hour:02d}:00:00", numbered, file=file)
    return judge_again(plain, WORK)


def settings(*done: str) -> Settings:
    return Settings(work=replace(WORK, done=done))


STAYS, GOES = mark(1), mark(5)


def test_a_state_of_which_a_later_version_says_more_is_read_all_the_same(tmp_path: Path) -> None:
    place, later = tmp_path / "db", tmp_path / "later"
    keep([frame(1, STAYS)], place, settings())
    with Store.open(place) as store, Store.open(later) as copy:
        for entry in store.entries(KEY):
            counts = {**entry.frame["counts"], "surplus": 1}
            del counts["showing_on_lens"]
            spots = [{**each, "surplus": "x"} for each in entry.frame["spots"]]
            more = {**entry.frame, "surplus": None, "counts": counts, "spots": spots}
            copy.put([replace(entry, frame=more)])
    now = frame(2, STAYS)
    told = [judge_with_record([now], each, settings("blower")) for each in (place, later)]
    assert told[0] == told[1]
    assert told[0][0].verdict is not None
    assert told[0][0].verdict.method == "brush"


def kept_done(place: Path) -> list[tuple[str, ...]]:
    with Store.open(place, can_write=False) as store:
        return [each.done for each in store.entries(KEY)]


def test_what_has_outlived_much_gets_a_rougher_method(tmp_path: Path) -> None:
    place = tmp_path / "db"
    keep([frame(1, STAYS, GOES)], place, settings())
    keep([frame(2, STAYS)], place, settings("blower"))
    now = frame(3, STAYS)
    assert now.verdict is not None
    assert now.verdict.method == "blower"
    (again,) = judge_with_record([now], place, settings("wet swab"))
    assert again.verdict is not None
    assert again.verdict.method == "wet swab"
    assert any(
        "is here for the third time and has outlived a blower and a wet swab" in reason
        for reason in again.verdict.reasons
    )


def test_judging_a_kept_frame_again_says_the_same(tmp_path: Path) -> None:
    place = tmp_path / "db"
    keep([frame(1, STAYS), frame(2, STAYS)], place, settings())
    now = [frame(1, STAYS), frame(2, STAYS)]
    first = judge_with_record(now, place, settings("blower"))
    keep(first, place, settings("blower"))
    assert judge_with_record(now, place, settings("blower")) == first
    assert first[0] == now[0]


def test_a_known_stack_distance_is_used_where_the_frame_has_none(tmp_path: Path) -> None:
    place = tmp_path / "db"
    measured = replace(
        frame(1, STAYS), stack=Stack(distance_mm=1.2, uncertainty_mm=0.1, source="measured")
    )
    assumed = replace(frame(2), stack=Stack(distance_mm=1.3, uncertainty_mm=0.5, source="assumed"))
    asked: list[tuple[str, Stack]] = []

    def again(report: FrameReport, known: Stack) -> FrameReport | None:
        asked.append((report.file, known))
        return None if len(asked) > 1 else replace(report, stack=known)

    keep([measured], place, settings())
    frames = (measured, assumed)
    first, second = judge_with_record(frames, place, settings(), again=again)
    ((file, known),) = asked
    assert file == assumed.file
    assert (known.source, known.is_from_record) == ("given", True)
    assert known.distance_mm == pytest.approx(1.2)
    assert (first.stack, second.stack) == (measured.stack, known)
    # Without the picture, or without a working aperture in it, it stays as it was judged.
    assert judge_with_record([assumed], place, settings(), again=again)[0].stack == assumed.stack
    assert judge_with_record([assumed], place, settings())[0].stack == assumed.stack
    blind = replace(assumed, exposure=replace(assumed.exposure, f_number=None))
    judge_with_record([blind], place, settings(), again=again)
    assert len(asked) == 2


def test_without_a_record_nothing_changes(tmp_path: Path) -> None:
    now = (frame(1, STAYS),)
    assert judge_with_record(now, tmp_path / "db", settings()) == now
    assert not (tmp_path / "db").exists()


def test_recording_twice_is_one_record(tmp_path: Path) -> None:
    place = tmp_path / "db"
    for _ in range(2):
        keep([frame(1, STAYS)], place, settings("blower"))
    assert kept_done(place) == [("blower",)]


def test_what_was_done_belongs_to_the_first_frame_of_a_body(tmp_path: Path) -> None:
    place = tmp_path / "db"
    keep([frame(1, STAYS), frame(1, STAYS, hour=11)], place, settings("blower"))
    assert kept_done(place) == [("blower",), ()]


def test_all_that_was_done_so_far_is_understood_as_such(tmp_path: Path) -> None:
    place = tmp_path / "db"
    keep([frame(1, STAYS)], place, settings("blower"))
    keep([frame(2, STAYS)], place, settings("blower", "wet swab"))
    assert kept_done(place) == [("blower",), ("wet swab",)]


def test_a_body_without_serial_needs_a_name(tmp_path: Path) -> None:
    place = tmp_path / "db"
    nameless = replace(frame(1, STAYS), camera=replace(BODY, serial=None))
    (noted,) = keep([nameless], place, settings())
    assert noted.notes[-1] == NO_BODY
    (plain,) = keep([nameless], place, settings(), body="Mara's old one")
    assert plain.notes == nameless.notes
    with Store.open(place, can_write=False) as store:
        assert [each.body.serial for each in store.bodies()] == ["Mara's old one"]
    later = replace(frame(2, STAYS), camera=replace(BODY, serial=None))
    (again,) = judge_with_record([later], place, settings(), body="Mara's old one")
    assert again.verdict is not None
    assert any("second time" in reason for reason in again.verdict.reasons)


def test_the_serial_in_the_file_wins_over_a_name(tmp_path: Path) -> None:
    (noted,) = keep([frame(1, STAYS)], tmp_path / "db", settings(), body="something else")
    assert "'something else' of --body was not used" in noted.notes[-1]
    assert KEY.serial in noted.notes[-1]
    (same,) = keep([noted], tmp_path / "db", settings(), body="something else")
    assert same.notes == noted.notes
    (named,) = keep([frame(1, STAYS)], tmp_path / "db", settings(), body=f" {KEY.serial.lower()} ")
    assert named.notes == frame(1, STAYS).notes
    with Store.open(tmp_path / "db", can_write=False) as store:
        assert [each.body for each in store.bodies()] == [KEY]


def test_only_judged_frames_are_kept(tmp_path: Path) -> None:
    unfit = replace(frame(1, STAYS), state="reshoot")
    assert keep([unfit], tmp_path / "db", settings()) == (unfit,)
    with Store.open(tmp_path / "db", can_write=False) as store:
        assert store.bodies() == ()


def test_what_was_done_before_an_unfit_frame_is_to_be_said_again(tmp_path: Path) -> None:
    unfit = replace(frame(1, STAYS), state="reshoot")
    (told,) = keep([unfit], tmp_path / "db", settings("blower", "wet swab"))
    assert told.notes == (UNFIT.format(done="blower,wet"),)
    # A fit frame of the same run carries it.
    both = keep([unfit, frame(2, STAYS)], tmp_path / "db", settings("blower"))
    assert [each.notes for each in both] == [(), ()]


def test_what_the_record_shows_to_be_unfit_is_not_kept(tmp_path: Path) -> None:
    place = tmp_path / "db"
    measured = replace(
        frame(1, STAYS), stack=Stack(distance_mm=0.8, uncertainty_mm=0.1, source="measured")
    )
    assumed = replace(frame(2), stack=Stack(distance_mm=1.3, uncertainty_mm=0.5, source="assumed"))
    keep([measured], place, settings())
    (told,) = keep_and_judge(
        [assumed], place, settings("blower"), again=lambda one, _: replace(one, state="reshoot")
    )
    assert (told.state, told.notes) == ("reshoot", (UNFIT.format(done="blower"),))
    with Store.open(place, can_write=False) as store:
        assert [each.frame["file"] for each in store.entries(KEY)] == [measured.file]


def test_what_the_record_shows_to_be_unfit_is_no_earlier_state_of_the_next(tmp_path: Path) -> None:
    place = tmp_path / "db"
    measured = Stack(distance_mm=0.8, uncertainty_mm=0.1, source="measured")
    assumed = Stack(distance_mm=1.3, uncertainty_mm=0.5, source="assumed")
    drawn = (frame(1, STAYS, GOES), frame(2, STAYS), frame(3, STAYS))
    kept, unfit, fit = (
        replace(each, file=str(tmp_path / each.file), stack=stack)
        for each, stack in zip(drawn, (measured, assumed, measured), strict=True)
    )
    for each in (kept, unfit, fit):
        Path(each.file).write_bytes(each.file.encode())
    keep([kept], place, settings())
    # A second run of the same command says the same, and so does the fit frame by itself.
    for run in ((unfit, fit), (unfit, fit), (fit,)):
        *others, told = keep_and_judge(
            run, place, settings("wet swab"), again=lambda one, _: replace(one, state="reshoot")
        )
        assert [(each.state, each.notes) for each in others] == [("reshoot", ())] * len(others)
        assert told.verdict is not None
        assert told.verdict.method == "wet swab"
        (reason,) = [each for each in told.verdict.reasons if "time" in each]
        assert "is here for the second time and has outlived a wet swab" in reason
        # What was done belongs to the first fit frame after it.
        with Store.open(place, can_write=False) as store:
            entries = store.entries(KEY)
        assert [(each.frame["file"], each.done) for each in entries] == [
            (kept.file, ()),
            (fit.file, ("wet swab",)),
        ]


def test_a_damaged_record_is_left_to_the_caller(tmp_path: Path) -> None:
    (tmp_path / "db").write_bytes(b"rubbish" * 1000)
    for use in (keep, judge_with_record):
        with pytest.raises(RecordError, match="damaged"):
            use([frame(1, STAYS)], tmp_path / "db", settings())


def test_the_content_of_a_picture_makes_the_record_not_its_name(tmp_path: Path) -> None:
    one, copy = tmp_path / "a.dng", tmp_path / "b.dng"
    for path in (one, copy):
        path.write_bytes(b"picture")
    plain = frame(1, STAYS)
    assert digest_of(replace(plain, file=str(one))) == digest_of(replace(plain, file=str(copy)))
    assert digest_of(replace(plain, file=str(tmp_path))) != digest_of(replace(plain, file=str(one)))
    # Without the file, the report itself.
    assert digest_of(plain) == digest_of(replace(plain, file="elsewhere.dng"))
    assert digest_of(plain) != digest_of(frame(2, STAYS))


def test_a_sequence_is_kept_with_what_was_done_between(tmp_path: Path) -> None:
    place = tmp_path / "db"
    states = [frame(1, STAYS, GOES), frame(1, STAYS, hour=11), frame(1, STAYS, hour=12)]
    comparison = compare_all(states, settings("blower", "brush"))
    keep_sequence(comparison, place, settings())
    assert kept_done(place) == [(), ("blower",), ("brush",)]


def test_what_was_done_before_the_first_fit_state_of_a_sequence_is_kept(tmp_path: Path) -> None:
    place = tmp_path / "db"
    unfit = FrameReport(file="small.jpg", state="reshoot")
    comparison = compare_all([unfit, frame(1, STAYS)], settings("blower"))
    keep_sequence(comparison, place, settings())
    assert kept_done(place) == [("blower",)]


def test_a_sequence_says_what_could_not_be_kept(tmp_path: Path) -> None:
    states = [frame(1, STAYS, GOES), frame(1, STAYS, hour=11)]
    known = compare_all(states, settings())
    assert keep_sequence(known, tmp_path / "db", settings()) == known
    (note,) = keep_sequence(known, tmp_path / "db", settings(), body="my old one").notes
    assert "'my old one'" in note
    nameless = [replace(state, camera=replace(BODY, serial=None)) for state in states]
    noted = keep_sequence(compare_all(nameless, settings()), tmp_path / "db", settings())
    assert noted.notes == (NO_BODY,)


def test_a_course_tells_all(tmp_path: Path) -> None:
    place = tmp_path / "db"
    keep([frame(1, STAYS, GOES)], place, settings())
    keep([frame(2, STAYS)], place, settings("blower"))
    keep([frame(12, STAYS, mark(3), mark(6))], place, settings())
    with Store.open(place, can_write=False) as store:
        found = course(store, KEY, WORK)
        assert courses(store, WORK) == (found,)
    assert [(step.n_found, step.n_showing) for step in found.steps] == [(2, 2), (1, 1), (3, 3)]
    assert found.steps[0].change is None
    assert found.steps[1].change is not None
    assert found.steps[1].change.counts["gone"] == 1
    assert [(each.spot_id, each.times_seen, each.outlived) for each in found.survivors] == [
        (1, 3, ("blower",))
    ]
    assert found.stack is not None
    assert found.stack.distance_mm == pytest.approx(1.2)
    assert (found.comeback.n_new, found.comeback.n_days) == (2, 10.0)
    assert found.comeback.days_to_next == 5.0


def test_lens_dust_outlives_no_cleaning_of_the_sensor(tmp_path: Path) -> None:
    place, dust = tmp_path / "db", replace(GOES, layer="lens side")
    keep([frame(1, STAYS, dust)], place, settings())
    keep([frame(2, STAYS, dust)], place, settings("blower"))
    with Store.open(place, can_write=False) as store:
        found = course(store, KEY, WORK)
    assert len(found.steps[1].state.report.spots) == 2
    assert found.steps[1].n_showing == 1
    assert [each.spot_id for each in found.survivors] == [1]


def test_another_aperture_shows_fewer(tmp_path: Path) -> None:
    place = tmp_path / "db"
    keep([frame(1, replace(STAYS, depth_at={"5.6": 0.004, "11": 0.08}))], place, settings())
    with Store.open(place, can_write=False) as store:
        found = course(store, KEY, WorkSettings(shoot_at_f=5.6))
    assert found.steps[0].n_showing == 0


def test_a_body_is_found_by_serial_or_part_of_its_name(tmp_path: Path) -> None:
    place = tmp_path / "db"
    other = replace(frame(1, STAYS), camera=replace(BODY, serial="K-3"))
    keep([frame(2, STAYS), other], place, settings())
    with Store.open(place, can_write=False) as store:
        assert find_body(store, "k-20418") == KEY
        assert find_body(store, "K-3") == BodyKey("Halvern", "Halvern Q7", "K-3")
        with pytest.raises(SettingsError, match="several bodies"):
            find_body(store, "q7")
        with pytest.raises(SettingsError, match="No body 'Z9'"):
            find_body(store, "Z9")
