"""Trips as text, JSON and tables."""

import csv
import io
from dataclasses import replace
from typing import Any

import pytest

from motemap.bodies import BodyKey, Trip, TripBody
from motemap.records import ErrorNote, FrameReport, ShotCheck
from motemap.report import pretrip_json, pretrip_text
from reporting.states import SETTINGS, frame, lines_of, mark, validate


def trip_of(*bodies: TripBody) -> Trip:
    broken = FrameReport(
        file="cut.nef", state="unreadable", error=ErrorNote(cause="Cut off.", repair="Copy again.")
    )
    return Trip(bodies=bodies, unreadable=(broken,))


@pytest.fixture
def trip() -> Trip:
    dirty = frame(10, mark(1))
    shared: dict[str, Any] = {"n_frames": 1, "report": dirty, "age_days": 12.4}
    key = BodyKey("Halvern", "Halvern Q7", "K-1")
    return trip_of(
        TripBody(body=key, state="clean", method="blower", minutes=3.0, n_showing=1, **shared),
        TripBody(
            body=replace(key, serial="K-2"), state="ready", method="none", n_showing=0, **shared
        ),
        TripBody(body=replace(key, serial="K-3"), state="stale", method="none", **shared),
        TripBody(body=replace(key, serial="K-4"), state="reshoot", method="none", **shared),
        TripBody(body=BodyKey("", "", "K-9"), state="missing", notes=("a remark",)),
    )


def test_a_trip_is_one_line_a_body(trip: Trip) -> None:
    lines = lines_of(pretrip_text.render(trip))
    assert (
        lines[0]
        == "CLEAN       Halvern Q7 no. K-1                start with the blower, about 3 min"
    )
    assert lines[1].split()[0] == "READY"
    assert lines[2].endswith("shoot again: 12 days old")
    assert lines[3].startswith("SHOOT AGAIN Halvern Q7 no. K-4")
    assert lines[4].startswith("MISSING     no. K-9")
    assert lines[5] == "NOT READ    cut.nef"
    assert " ".join(lines[-2:]) == (
        "5 bodies: 1 ready, 1 to clean, 1 to shoot again, 1 too old, 1 missing, 1 not read."
    )
    assert any("a remark" in line for line in lines)


def test_the_json_of_a_trip_fits_its_schema(trip: Trip) -> None:
    document = pretrip_json.to_dict(trip, SETTINGS, expected=["K-9"], max_age_days=7.0)
    validate("pretrip", document)
    assert document["summary"] == {
        "ready": 1,
        "clean": 1,
        "reshoot": 1,
        "stale": 1,
        "missing": 1,
        "unreadable": 1,
    }
    assert [body["serial"] for body in document["bodies"]] == ["K-1", "K-2", "K-3", "K-4", "K-9"]
    assert document["bodies"][4]["frame"] is None
    rows = list(csv.DictReader(io.StringIO(pretrip_json.to_csv(trip))))
    assert [row["state"] for row in rows] == ["clean", "ready", "stale", "reshoot", "missing"]
    assert (rows[0]["minutes"], rows[0]["age_days"], rows[4]["found"]) == ("3.0", "12.4", "")


def test_a_body_to_shoot_again_says_why_in_every_form(trip: Trip) -> None:
    clipped = ShotCheck(
        name="clipping",
        value=0.74,
        wanted="under 0.2 % of the frame",
        outcome="fail",
        advice="Expose less.",
    )
    banded = replace(clipped, name="banding", outcome="warn")
    *_, again, missing = trip.bodies
    assert again.report is not None
    again = replace(again, report=replace(again.report, shot_checks=(banded, clipped)))
    told = replace(trip, bodies=(again, missing))
    fault = "clipping 74 %, wanted under 0.2 % of the frame. Expose less."
    document = pretrip_json.to_dict(told, SETTINGS, expected=["K-9"], max_age_days=7.0)
    validate("pretrip", document)
    assert [body["faults"] for body in document["bodies"]] == [[fault], []]
    rows = list(csv.DictReader(io.StringIO(pretrip_json.to_csv(told))))
    assert [row["faults"] for row in rows] == [fault, ""]
    assert lines_of(pretrip_text.render(told))[0].endswith("shoot again: clipping")
