"""The forecast as text, JSON and table, from frames built by hand."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

from jsonschema import Draft202012Validator

from motemap.report import forecast_json, forecast_text
from motemap.report.forecast_table import count_lines
from motemap.report.json import dumps
from motemap.report.schema import load_schema
from motemap.report.text import render
from motemap.settings import Settings, WorkSettings
from motemap.tallies import ApertureTally, Cleanliness
from reporting.builders import frame, ready, reshoot, spot, tallies, unreadable

SETTINGS = Settings()
SEEN = Settings(work=WorkSettings(view="print 60 x 40 cm at 80 cm"))
ROWS = tallies()[2:5]


def said(text: str) -> str:
    return " ".join(text.split())


def test_the_table_a_photographer_plans_by() -> None:
    lines = forecast_text.render(frame(), ROWS, SETTINGS).splitlines()
    assert lines[0] == "trip/MOTE0001.DNG"
    table = lines[lines.index(next(line for line in lines if "aperture " in line)) :]
    assert table[1:4] == [
        "  f/5.6         0",
        "  f/8           1   no 1 2.4 %",
        "  f/11          1   no 1 5.0 %",
    ]
    told = "no 1 speck of about 36 um, lower left, 6.0 mm from the left, 21.0 mm from the top"
    assert told in said("\n".join(table))
    assert max(map(len, lines)) <= 80


def test_the_rule_is_named() -> None:
    assert "taking 2 % of the light or more" in said(forecast_text.render(frame(), ROWS, SETTINGS))
    seen = said(forecast_text.render(frame(), ROWS, SEEN))
    assert "seen in a print 60 x 40 cm at 80 cm (contrast sensitivity after Barten)" in seen


def test_what_is_left_out_is_said() -> None:
    spots = (spot(1), spot(2, layer="lens side"), spot(3, depth_at=None))
    rows = [replace(row, n_unknown=1) for row in ROWS]
    told = said(forecast_text.render(frame(spots=spots), rows, SETTINGS))
    assert "1 shadow from the lens side left out" in told
    assert "1 mark without a forecast left out." in told


def test_without_an_aperture_no_table_is_printed() -> None:
    unknown = {"depth_at": None, "shows_from_f": None}
    blind = frame(spots=(spot(1, **unknown), spot(2, **unknown)))
    rows = [ApertureTally(f_number=8.0, n_showing=None, n_unknown=2)]
    told = said(forecast_text.render(blind, rows, SEEN))
    assert "2 marks were found. Pictures at other apertures are without a forecast" in told
    assert "f/8" not in told
    assert "print" not in told
    # No mark at an unknown aperture says nothing of f/8 either.
    bare = ready(exposure=replace(ready().exposure, f_number=None))
    rows = [ApertureTally(f_number=8.0, n_showing=None)]
    told = said(forecast_text.render(bare, rows, SEEN))
    takes = "No mark was found. Pictures at other apertures are without a forecast: that takes the"
    assert f"{takes} f-number of the test shot, which is not in its file." in told
    assert bare.sensor is not None
    sized = replace(ready(), sensor=replace(bare.sensor, pitch_um=None))
    told = said(forecast_text.render(sized, rows, SEEN))
    assert f"{takes} size of the sensor (give it with --sensor)." in told


def test_a_fibre_is_said_with_its_length() -> None:
    fibre = spot(1, kind="fibre", particle_um=8.2, length_um=640.0)
    assert "fibre of about 8.2 x 640 um" in forecast_text.render(
        frame(spots=(fibre,)), ROWS, SETTINGS
    )


def test_a_mark_without_a_place_has_none() -> None:
    unplaced = spot(1, place=None, from_left_mm=None, from_top_mm=None)
    assert forecast_text.render(frame(spots=(unplaced,)), ROWS, SETTINGS).endswith(
        "  no 1  speck of about 36 um\n"
    )


def test_nothing_found_and_nothing_read() -> None:
    empty = forecast_text.render(ready(), tallies(0), SETTINGS)
    assert "No mark was found" in empty
    assert "aperture " not in empty
    assert "Copy it from the card again." in forecast_text.render(unreadable(), (), SETTINGS)
    spoilt = said(forecast_text.render(reshoot(), (), SETTINGS))
    assert "Not fit to forecast from: This frame could not have shown what matters." in spoilt


def test_the_json_fits_its_schema_and_the_table_has_its_names() -> None:
    for report, rows in ((frame(), ROWS), (ready(), tallies(0)), (unreadable(), ())):
        document = json.loads(dumps(forecast_json.to_dict(report, rows, SETTINGS)))
        Draft202012Validator(load_schema("forecast")).validate(document)
    document = forecast_json.to_dict(frame(), ROWS, SETTINGS)
    assert document["forecast"][1] == {
        "f_number": 8.0,
        "showing": 1,
        "unknown": 0,
        "worst": [1],
        "worst_depth_frac": [0.024],
    }
    table = list(csv.DictReader(io.StringIO(forecast_json.to_csv(frame(), ROWS))))
    assert [(row["f_number"], row["showing"], row["worst"]) for row in table] == [
        ("5.6", "0", ""),
        ("8.0", "1", "1"),
        ("11.0", "1", "1"),
    ]
    (lost,) = csv.DictReader(io.StringIO(forecast_json.to_csv(unreadable(), ())))
    assert (lost["file"], lost["showing"]) == ("trip/MOTE0004.DNG", "")


def test_unknown_counts_are_no_zeros() -> None:
    unknown = [ApertureTally(f_number=8.0, n_showing=None, n_unknown=3)]
    assert count_lines(unknown) == []
    assert forecast_json.to_dict(frame(), unknown, SETTINGS)["forecast"][0]["showing"] is None
    known = [*unknown, ApertureTally(f_number=11.0, n_showing=2)]
    assert count_lines(known)[1].split() == ["Marks", "-", "2"]


def test_check_names_the_eye_where_it_decides() -> None:
    text = said(render([frame()], SEEN))
    assert "what is seen in a print 60 x 40 cm at 80 cm (contrast sensitivity after Barten)" in text
    assert "at f/11 first; # shows there, seen in a print 60 x 40 cm at 80 cm; um:" in text
    assert "Barten" not in render([frame()], SETTINGS)


def test_how_dirty_it_is_is_told_only_where_there_is_dirt() -> None:
    assert "0.00013 % of the sensor shaded; cleanliness level 97 at 20 um" in render(
        [frame()], SETTINGS
    )
    assert "cleanliness" not in render([ready()], SETTINGS)
    coarse = Cleanliness(
        at_um=31.4, n_particles=0, equivalent_level=120.4, is_upper_bound=True, covered_frac=2e-6
    )
    assert "cleanliness level below 120 at 31 um" in render([frame(cleanliness=coarse)], SETTINGS)
    sizeless = replace(coarse, equivalent_level=None, covered_frac=None)
    assert "cannot be said without the size of the sensor" in said(
        render([frame(cleanliness=sizeless)], SETTINGS)
    )
