"""Comparisons and courses as text, JSON and tables."""

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest

from motemap.bodies import BodyCourse, BodyKey, Comeback
from motemap.changes import Comparison, Registration
from motemap.history import Store, export_document
from motemap.pipeline.course import course
from motemap.pipeline.record import keep
from motemap.pipeline.states import compare_all
from motemap.records import FrameReport
from motemap.report import (
    compare_csv,
    compare_json,
    compare_text,
    history_json,
    history_text,
)
from motemap.report import json as report_json
from motemap.report.pictures.history_plot import history_plot_svg, points_of
from motemap.report.schema import load_schema
from motemap.report.text import TextStyle
from motemap.settings import Settings, WorkSettings
from reporting.states import PLAIN, SETTINGS, WORK, frame, lines_of, mark, validate
from sequences import BODY, spot


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    states = [
        frame(10, *(mark(n) for n in range(1, 7))),
        frame(11, mark(1), mark(2), mark(3)),
        frame(12, mark(2), mark(9)),
    ]
    return compare_all(states, SETTINGS)


@pytest.fixture(scope="module")
def kept_course(tmp_path_factory: pytest.TempPathFactory) -> BodyCourse:
    place = tmp_path_factory.mktemp("record") / "db"
    keep([frame(10, mark(1), mark(2))], place, Settings())
    keep([frame(11, mark(2))], place, Settings(work=replace(WORK, done=("blower",))))
    with Store.open(place, can_write=False) as store:
        return course(store, BodyKey("Halvern", "Halvern Q7", "K-20418"), WorkSettings())


def test_the_text_begins_with_the_story_and_the_verdict(comparison: Comparison) -> None:
    lines = lines_of(compare_text.render(comparison, SETTINGS))
    assert (
        lines[0] == "6 marks, then 3, then 2, all of which would show at f/11 near the lower edge."
    )
    assert lines[2] == "CLEAN: use a wet swab, then shoot again"
    heading = "state                 at found  show   gone stayed weaker  moved   new undecided"
    numbers = "11.dng                22     3     3      3      3      0      0     0         0"
    assert {heading, numbers} <= set(lines)
    assert "trip/10.dng -> trip/11.dng (blower)" in lines
    assert "  New: no 2 of the later state." in lines
    assert "What is left in 12.dng" in lines
    assert "Before you clean" in lines


@pytest.mark.parametrize(
    ("row", "n_texts", "n_numbers"), [(compare_text.ROW, 2, 6), (history_text.STEP_ROW, 2, 2)]
)
def test_numbers_of_five_digits_do_not_run_together(row: str, n_texts: int, n_numbers: int) -> None:
    texts, numbers = ("text",) * n_texts, ("12345",) * n_numbers
    more = ("blower", "#") if row == history_text.STEP_ROW else ()
    line = row.format(*texts, "12345", "12345", "*", *numbers, *more)
    assert line.split() == [*texts, "12345", "12345*", *numbers, *more]


def test_what_is_told_of_another_aperture_has_a_sign(
    comparison: Comparison, kept_course: BodyCourse
) -> None:
    def blind(state: FrameReport) -> FrameReport:
        return replace(state, spots=tuple(replace(each, depth_at=None) for each in state.spots))

    mixed = replace(comparison, states=(blind(comparison.states[0]), *comparison.states[1:]))
    said = "* at the aperture of this shot: what would show at f/11 is unknown."
    lines = lines_of(compare_text.render(mixed, SETTINGS))
    assert (
        "10.dng                22     6     6*     -      -      -      -     -         -" in lines
    )
    assert said in lines
    assert "*" not in compare_text.render(comparison, SETTINGS)
    first, last = kept_course.steps
    kept = replace(last.state, report=blind(last.state.report))
    mixed_course = replace(kept_course, steps=(first, replace(last, state=kept)))
    lines = lines_of(history_text.render_course(mixed_course, WorkSettings()))
    assert "  2031-05-02  f/22     1    1*     1     0 blower                  ######" in lines
    assert said in lines
    assert lines[-1] == "It shows now at the aperture of this shot."
    drawn = history_plot_svg(points_of(mixed_course), body="Q7", shoot_at_f=11.0)
    assert all(f">{words}<" in drawn for words in ("2", "1*", "* at the aperture of this shot"))
    listed = lines_of(history_text.render_list([mixed_course], WorkSettings()))
    assert (listed[1][-2:], listed[2]) == ("1*", said)


def test_colour_is_only_on_the_verdict(comparison: Comparison) -> None:
    plain = compare_text.render(comparison, SETTINGS)
    coloured = compare_text.render(comparison, SETTINGS, TextStyle(has_colour=True, most_rows=10))
    assert "\x1b" not in plain
    assert coloured.replace("\x1b[1m\x1b[33m", "").replace("\x1b[0m", "") == plain


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (
            Registration(reason="too few marks are alike in both to register by"),
            "Not laid over each other",
        ),
        (
            Registration(scale=1.0, shift_x_px=0.0, shift_y_px=0.0, residual_px=0.3, n_used=9),
            "by 9 marks: nothing moved; 0.30 px left",
        ),
        (
            Registration(scale=0.99, shift_x_px=-3.0, shift_y_px=4.0, residual_px=0.3, n_used=1),
            "by 1 mark: scale 0.9900, shifted 3.0 px left and 4.0 px down",
        ),
    ],
)
def test_the_registration_is_said(comparison: Comparison, found: Registration, said: str) -> None:
    change = replace(comparison.changes[0], registration=found)
    text = compare_text.render(replace(comparison, changes=(change,)), SETTINGS)
    assert said in " ".join(text.split())


def test_the_json_of_a_comparison_fits_its_schema(comparison: Comparison) -> None:
    document = compare_json.to_dict(comparison, SETTINGS)
    validate("compare", document)
    first = document["changes"][0]
    assert (first["from"], first["to"], first["done"]) == ("trip/10.dng", "trip/11.dng", ["blower"])
    assert first["counts"]["gone"] == 3
    assert first["registration"] == {
        "scale": 1.0,
        "shift_x_px": 0.0,
        "shift_y_px": 0.0,
        "residual_px": 0.0,
        "marks_used": 3,
        "reason": None,
    }
    assert first["spots"][0] == {
        "fate": "stayed",
        "before_id": 1,
        "after_id": 1,
        "reasons": ["same place, same size"],
    }
    assert document["verdict"]["method"] == "wet swab"


def test_an_unknown_registration_is_null(comparison: Comparison) -> None:
    change = replace(comparison.changes[0], registration=Registration(reason="nothing"))
    document = compare_json.to_dict(replace(comparison, changes=(change,)), SETTINGS)
    validate("compare", document)
    assert document["changes"][0]["registration"]["scale"] is None


def test_the_table_has_one_row_a_mark_and_change(comparison: Comparison) -> None:
    rows = list(csv.DictReader(io.StringIO(compare_csv.render(comparison))))
    assert len(rows) == sum(len(change.marks) for change in comparison.changes)
    gone = [row for row in rows if row["fate"] == "gone" and row["from"] == "trip/10.dng"]
    assert [row["before_id"] for row in gone] == ["4", "5", "6"]
    assert gone[0]["place"] == "lower edge"
    assert gone[0]["after_id"] == ""


def test_a_change_without_marks_is_a_row_all_the_same() -> None:
    nothing = compare_all([frame(10), frame(11)], Settings())
    rows = list(csv.DictReader(io.StringIO(compare_csv.render(nothing))))
    assert [(row["from"], row["fate"]) for row in rows] == [("trip/10.dng", "")]


def test_names_that_steer_are_harmless() -> None:
    states = [
        frame(10, mark(1), file="=cmd|x\x1b[31m.dng"),
        frame(11, mark(1), file="<script>.dng"),
    ]
    found = compare_all(states, Settings())
    assert "\x1b" not in compare_text.render(found, Settings())
    assert compare_csv.render(found).splitlines()[1].startswith("'=cmd|x\\x1b")
    assert "\x1b" not in report_json.dumps(compare_json.to_dict(found, Settings()))


def test_a_course_is_told(kept_course: BodyCourse) -> None:
    lines = lines_of(history_text.render_course(kept_course, WorkSettings()))
    assert lines[0] == "Halvern Q7 no. K-20418"
    assert (
        "  2031-05-02  f/22     2    2      -     -                         #############" in lines
    )
    assert "  2031-05-02  f/22     1    1      1     0 blower                  ######" in lines
    heading = next(line for line in lines if "cleaned before" in line)
    assert heading.index("show, as bars") == lines[lines.index(heading) + 1].index("##")
    assert any(line.startswith("# no 1   speck") and "seen 2 times" in line for line in lines)
    assert any("1.20 +/- 0.14 mm" in line for line in lines)
    assert lines[-1] == "It shows now at f/11."
    listed = lines_of(history_text.render_list([kept_course], WorkSettings()))
    assert listed[1].split() == ["Halvern", "Q7", "no.", "K-20418", "2", "2031-05-02", "1", "1"]


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Comeback(), "cannot be said yet"),
        (
            Comeback(n_new=0, n_days=30.0, days_to_next=30.0, is_at_least=True),
            "came in 4 weeks without cleaning. It will hardly show at f/11 again before 2031-06-01.",
        ),
        (
            Comeback(n_new=2, n_days=20.0, days_to_next=10.0),
            "in 20 days without cleaning, one in 10 days. Expect it to show at f/11 again about 2031-05-12.",
        ),
        (
            Comeback(n_new=1, n_days=90.0, days_to_next=90.0),
            "1 mark that shows came in 3 months without cleaning. Expect it to show",
        ),
    ],
)
def test_when_it_will_show_again_is_said_plainly(
    kept_course: BodyCourse, found: Comeback, said: str
) -> None:
    last = replace(kept_course.steps[-1], n_showing=0)
    clean = replace(kept_course, steps=(*kept_course.steps[:-1], last), comeback=found)
    text = history_text.render_course(clean, WorkSettings())
    assert said in " ".join(text.split())


def test_an_empty_record_says_how_to_fill_it() -> None:
    assert "--record" in history_text.render_list([], WorkSettings())


def test_the_json_of_a_course_fits_its_schema(kept_course: BodyCourse) -> None:
    document = history_json.to_dict([kept_course], SETTINGS)
    validate("course", document)
    body = document["bodies"][0]
    assert body["serial"] == "K-20418"
    assert [state["showing"] for state in body["states"]] == [2, 1]
    assert body["outlived"][0]["methods"] == ["blower"]
    rows = list(csv.DictReader(io.StringIO(history_json.to_csv([kept_course]))))
    assert [(row["found"], row["gone"], row["done"]) for row in rows] == [
        ("2", "", ""),
        ("1", "1", "blower"),
    ]


def test_the_export_fits_its_schema(tmp_path: Path) -> None:
    keep([frame(10, mark(1))], tmp_path / "db", Settings())
    with Store.open(tmp_path / "db", can_write=False) as store:
        validate("history", export_document(store, "1.2.3"))


def test_frames_have_one_shape_in_all_schemas() -> None:
    shape = load_schema("check")["$defs"]
    for name in ("compare", "pretrip", "forecast"):
        defs = load_schema(name)["$defs"]
        assert {key: defs[key] for key in shape} == shape
    # The record also holds frames that were kept before some keys came.
    defs = load_schema("history")["$defs"]
    newer = set(shape["frame"]["required"]) - set(defs["frame"]["required"])
    assert newer == {"forecast", "cleanliness"}
    kept, written = (dict(shapes["frame"]["properties"]) for shapes in (defs, shape))
    kept_stack, stack = kept.pop("stack"), written.pop("stack")
    assert set(stack["required"]) - set(kept_stack["required"]) == {"is_from_record"}
    assert kept_stack["properties"] == stack["properties"]
    assert kept == written
    assert (defs["spot"], defs["tally"]) == (shape["spot"], shape["tally"])


def test_a_long_list_of_new_marks_is_cut(comparison: Comparison) -> None:
    dirt = (spot(n, 390.0 * n, 3900.0, shot=PLAIN, depth_frac=0.3) for n in range(1, 15))
    many = [frame(10, mark(1), mark(2)), frame(11, mark(1), mark(2), *dirt)]
    text = compare_text.render(compare_all(many, Settings()), Settings())
    said = "New: no 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14 and 2 more of the later state."
    assert said in " ".join(text.split())
    assert comparison.states[0].camera == BODY
