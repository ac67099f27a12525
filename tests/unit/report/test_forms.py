import json

from motemap.report import csv, text
from motemap.report.forms import render
from motemap.report.text import TextStyle
from motemap.settings import Settings
from reporting.builders import frame, ready

FRAMES = (frame(), ready())


def test_each_form_is_that_of_its_writer() -> None:
    settings = Settings()
    assert render(FRAMES, settings) == text.render(FRAMES, settings)
    assert render(FRAMES, settings, form="csv") == csv.render(FRAMES, settings)
    assert json.loads(render(FRAMES, settings, form="json"))["report"] == "motemap.check"


def test_style_reaches_the_text() -> None:
    assert "\x1b[" in render(FRAMES, Settings(), style=TextStyle(has_colour=True))
