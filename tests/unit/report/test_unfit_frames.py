"""A frame that has to be shot again: its marks are seen, not judged, on every surface alike."""

from __future__ import annotations

import csv as csv_reader
import io
import json as json_reader
from dataclasses import replace

import pytest
from jsonschema import Draft202012Validator

from motemap.pipeline.conclusion import conclude
from motemap.records import FrameReport, Sensitivity
from motemap.report import csv, forecast_text, json, text
from motemap.report.page.pages import index_html, page_html
from motemap.report.pictures.panel import lead_words
from motemap.report.pictures.sensor_map import sensor_map_svg
from motemap.report.pictures.terminal_map import terminal_map
from motemap.report.schema import load_schema
from motemap.settings import Settings, WorkSettings
from reporting.builders import frame, ready, reshoot

WORK = WorkSettings(shoot_at_f=9.0)
SETTINGS = Settings(work=WORK)


def unfit(**changes: object) -> FrameReport:
    return conclude(frame(shot_checks=reshoot().shot_checks, **changes), WORK)


def lines(said: str) -> str:
    return " ".join(said.split())


def test_the_text_lists_what_was_seen_and_forecasts_nothing() -> None:
    said = lines(text.render([unfit()], SETTINGS))
    assert "SHOOT AGAIN" in said
    assert "Seen, not judged: marks, deepest at the aperture of this shot first" in said
    for claim in ("f/9", "would show, by aperture", "Dirt", "widest aperture", "Look at"):
        assert claim not in said
    assert "Look at" in lines(text.render([frame()], SETTINGS))
    lens = unfit(spots=(replace(frame().spots[0], layer="lens side"),))
    assert text.render([lens], SETTINGS).count("lens side\n") == 1
    assert "#" not in said


def test_json_and_csv_leave_unknown_what_was_not_judged() -> None:
    document = json_reader.loads(json.dumps(json.to_dict([unfit()], SETTINGS)))
    Draft202012Validator(load_schema("check")).validate(document)
    (told,) = document["frames"]
    assert (told["forecast"], told["cleanliness"]) == ([], None)
    assert [(spot["depth_at"], spot["shows_from_f"]) for spot in told["spots"]] == [
        (None, None)
    ] * 2
    for row in csv_reader.DictReader(io.StringIO(csv.render([unfit()]))):
        empty = [name for name, cell in row.items() if not cell]
        assert {"forecast.8", "cleanliness.particles", "depth_at.8", "shows_from_f"} <= set(empty)
        assert row["depth_frac"]


def test_page_and_pictures_say_seen_and_count_nothing_as_showing() -> None:
    assert lead_words(unfit(), WORK) == "2 marks seen, not judged; others may be hidden"
    for said in (page_html(unfit(), work=WORK), index_html([unfit()], work=WORK)):
        assert "Seen, not judged: marks, deepest at the aperture of this shot first" in said
        assert "What would show in pictures" not in said
        assert said.count("<td>not judged</td>") == 2
        assert "<td>yes</td>" not in said
        assert 'class="shows"' not in said
    assert "f/9" not in page_html(unfit(), work=WORK)
    assert "f/9" in page_html(conclude(frame(), WORK), work=WORK)
    drawn = sensor_map_svg(unfit(), work=WORK)
    for words in (
        "2 marks seen, not judged;",
        "from the top; seen, not judged<",
        ">seen, not judged (2)<",
    ):
        assert words in drawn
    for claim in ("f/9", "does not show", "shows at"):
        assert claim not in drawn
    assert "f/9" not in terminal_map(unfit(), 80, unicode_ok=False, work=WORK)


def test_that_nothing_was_seen_is_no_clean_sensor() -> None:
    assert lead_words(unfit(spots=()), WORK) == "No mark seen, others may be hidden"
    assert "No mark found" not in page_html(unfit(spots=()), work=WORK)
    unsearched = unfit(spots=(), sensitivity=Sensitivity())
    assert lead_words(unsearched, WORK) == "Not fit to look for marks in"
    assert lead_words(conclude(ready(), WORK), WORK) == "No mark found"


@pytest.mark.parametrize("changes", [{}, {"spots": ()}])
def test_a_forecast_says_that_none_is_made(changes: dict[str, object]) -> None:
    said = forecast_text.render(unfit(**changes), (), SETTINGS)
    assert "Not fit to forecast from:" in said
    assert "aperture " not in said
    assert "No mark was found" not in said
