"""The record's file: what it keeps, and what it refuses."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from kept import KEY, entry, report
from motemap.bodies import BodyKey
from motemap.errors import RecordError
from motemap.history import Store
from motemap.history.schema import APPLICATION_ID, MIGRATIONS, SCHEMA_VERSION


def test_what_was_put_is_read_back(tmp_path: Path) -> None:
    place = tmp_path / "deep" / "er" / "history.sqlite3"
    one = entry(report("2031-05-02T10:00:00"), done=("blower",))
    with Store.open(place) as store:
        store.put([one])
        assert store.entries(KEY) == (one,)
    with Store.open(place, can_write=False) as store:
        assert store.entries(KEY) == (one,)
        kept = store.bodies()
    assert [(each.body, each.n_states, each.last_moment) for each in kept] == [
        (KEY, 1, "2031-05-02T10:00:00")
    ]


def test_states_come_in_order_of_time_whatever_the_order_of_keeping(tmp_path: Path) -> None:
    times = ["2031-05-04T10:00:00", "2031-05-02T10:00:00", "2031-05-03T10:00:00"]
    with Store.open(tmp_path / "db") as store:
        for time in times:
            store.put([entry(report(time))])
        found = [each.frame["exposure"]["taken_at"] for each in store.entries(KEY)]
    assert found == sorted(times)


def test_the_same_state_twice_is_one_record_and_the_later_judgement_holds(tmp_path: Path) -> None:
    one = entry(report("2031-05-02T10:00:00"), done=("blower",))
    again = replace(one, shoot_at_f=8.0, done=(), recorded_at="2031-07-01T08:00:00+00:00")
    with Store.open(tmp_path / "db") as store:
        store.put([one, one])
        store.put([again])
        found = store.entries(KEY)
    # What was done stays unless something else is said; so does when it was first kept.
    assert found == (replace(again, done=("blower",), recorded_at=one.recorded_at),)


def test_a_correction_of_what_was_done_is_taken(tmp_path: Path) -> None:
    one = entry(report("2031-05-02T10:00:00"), done=("blower",))
    with Store.open(tmp_path / "db") as store:
        store.put([one])
        store.put([replace(one, done=("wet swab",))])
        assert store.entries(KEY)[0].done == ("wet swab",)


def test_bodies_are_kept_apart_by_serial(tmp_path: Path) -> None:
    other = BodyKey(KEY.maker, KEY.model, "K-30000")
    with Store.open(tmp_path / "db") as store:
        store.put([entry(report("2031-05-02T10:00:00"))])
        store.put([entry(report("2031-05-02T10:00:00"), body=other)])
        assert [each.body for each in store.bodies()] == [KEY, other]
        assert len(store.entries(other)) == 1
        assert store.entries(BodyKey("", "", "none")) == ()


def test_all_or_nothing(tmp_path: Path) -> None:
    good = entry(report("2031-05-02T10:00:00"))
    bad = entry(report("2031-05-03T10:00:00"))
    del bad.frame["spots"][0]["depth_frac"]
    with Store.open(tmp_path / "db") as store:
        with pytest.raises(KeyError):
            store.put([good, bad])
        assert store.entries(KEY) == ()
        store.put([good])
        assert len(store.entries(KEY)) == 1


def test_reading_makes_no_file(tmp_path: Path) -> None:
    place = tmp_path / "none" / "db"
    with pytest.raises(RecordError, match="no record yet"), Store.open(place, can_write=False):
        pass
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("can_write", [True, False])
def test_a_newer_file_is_refused_kindly_and_left_as_it_is(
    tmp_path: Path, *, can_write: bool
) -> None:
    place = tmp_path / "db"
    with Store.open(place) as store:
        store.put([entry(report("2031-05-02T10:00:00"))])
    with sqlite3.connect(place) as connection:
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    connection.close()
    content = place.read_bytes()
    with (
        pytest.raises(RecordError, match="newer version") as caught,
        Store.open(place, can_write=can_write),
    ):
        pass
    assert caught.value.path == str(place)
    assert "Update motemap" in caught.value.repair
    assert place.read_bytes() == content


@pytest.mark.parametrize("can_write", [True, False])
@pytest.mark.parametrize(
    "content", [b"no database at all" * 99, b"SQLite format 3\0" + b"\7" * 5000]
)
def test_a_damaged_file_is_named_and_left_alone(
    tmp_path: Path, content: bytes, *, can_write: bool
) -> None:
    place = tmp_path / "db"
    place.write_bytes(content)
    with (
        pytest.raises(RecordError, match="damaged") as caught,
        Store.open(place, can_write=can_write),
    ):
        pass
    assert caught.value.path == str(place)
    assert place.read_bytes() == content


def test_a_page_overwritten_in_the_middle_is_damage(tmp_path: Path) -> None:
    place = tmp_path / "db"
    with Store.open(place) as store:
        store.put([entry(report(f"2031-05-{day:02d}T10:00:00")) for day in range(1, 29)])
    content = bytearray(place.read_bytes())
    content[4096:-4096] = b"\xa5" * (len(content) - 8192)
    place.write_bytes(content)
    with pytest.raises(RecordError, match="damaged"), Store.open(place, can_write=False) as store:
        store.entries(KEY)


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "db"
    with sqlite3.connect(place) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    content = place.read_bytes()
    with pytest.raises(RecordError, match="another program's"), Store.open(place):
        pass
    assert place.read_bytes() == content


def test_an_empty_file_becomes_a_record(tmp_path: Path) -> None:
    place = tmp_path / "db"
    place.touch()
    with Store.open(place) as store:
        assert store.bodies() == ()
    connection = sqlite3.connect(place)
    assert connection.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    assert connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    connection.close()


def test_an_older_file_is_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "db"
    one = entry(report("2031-05-02T10:00:00"))
    with Store.open(place) as store:
        store.put([one])
    later = (*MIGRATIONS, ("ALTER TABLE state ADD COLUMN remark TEXT",))
    monkeypatch.setattr("motemap.history.store.MIGRATIONS", later)
    monkeypatch.setattr("motemap.history.store.SCHEMA_VERSION", SCHEMA_VERSION + 1)
    with (
        pytest.raises(RecordError, match="older version"),
        Store.open(place, can_write=False),
    ):
        pass
    with Store.open(place) as store:
        assert store.entries(KEY) == (one,)
    connection = sqlite3.connect(place)
    columns = {row[1] for row in connection.execute("PRAGMA table_info(state)")}
    assert "remark" in columns
    assert connection.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION + 1,)
    connection.close()


def test_a_migration_that_fails_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "db"
    with Store.open(place) as store:
        store.put([entry(report("2031-05-02T10:00:00"))])
    bad = (*MIGRATIONS, ("ALTER TABLE state ADD COLUMN remark TEXT", "NONSENSE"))
    with monkeypatch.context() as patched:
        patched.setattr("motemap.history.store.MIGRATIONS", bad)
        patched.setattr("motemap.history.store.SCHEMA_VERSION", SCHEMA_VERSION + 1)
        with pytest.raises(RecordError), Store.open(place):
            pass
    with Store.open(place) as store:
        assert len(store.entries(KEY)) == 1


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with (
        pytest.raises(RecordError, match="folder cannot be used"),
        Store.open(tmp_path / "file" / "db"),
    ):
        pass


def test_a_held_record_is_said_to_be_held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("motemap.history.store.WAIT_S", 0.05)
    place = tmp_path / "db"
    with Store.open(place) as store:
        holder = sqlite3.connect(place, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordError, match="Another program holds"):
            store.put([entry(report("2031-05-02T10:00:00"))])
        holder.execute("ROLLBACK")
        holder.close()


def test_a_full_disk_is_said_and_nothing_is_kept(tmp_path: Path) -> None:
    place = tmp_path / "db"
    with Store.open(place) as store:
        store.put([entry(report("2031-05-02T10:00:00"))])
        n_pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
        store._connection.execute(f"PRAGMA max_page_count = {n_pages}")
        with pytest.raises(RecordError, match="disk is full"):
            store.put([entry(report(f"2031-06-{day:02d}T10:00:00")) for day in range(1, 29)])
        assert len(store.entries(KEY)) == 1
