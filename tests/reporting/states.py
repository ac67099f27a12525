"""States of one body for reports of sequences, and what holds for every report."""

import json
from dataclasses import replace
from typing import Any

from jsonschema import Draft202012Validator

from kept import report
from motemap.facts.stops import DEPTH_AT_LABELS
from motemap.pipeline.again import judge_again
from motemap.records import FrameReport, ShotCheck, Spot
from motemap.report import json as report_json
from motemap.report.schema import load_schema
from motemap.settings import Settings, WorkSettings
from sequences import Shot, spot

PLAIN = Shot()
WORK = WorkSettings(done=("blower", "wet swab"))
SETTINGS = Settings(work=WORK)
WIDEST = 80


def mark(number: int, **changes: Any) -> Spot:
    plain = spot(number, 500.0 * number, 300.0 * number, shot=PLAIN, depth_frac=0.3)
    depth_at = {label: 0.3 * (float(label) / 22.0) ** 2 for label in DEPTH_AT_LABELS}
    return replace(plain, place="lower edge", depth_at=depth_at, shows_from_f=5.6, **changes)


def frame(hour: int, *marks: Spot, file: str | None = None) -> FrameReport:
    numbered = [replace(each, id=number) for number, each in enumerate(marks, start=1)]
    name = file or f"trip/{hour}.dng"
    check = ShotCheck(name="iso", value=100.0, wanted="64-400", outcome="ok")
    plain = report(f"2031-05-02T{hour}:00:00", numbered, file=name, shot_checks=(check,))
    return judge_again(plain, WorkSettings())


def validate(name: str, document: object) -> None:
    schema = load_schema(name)
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(json.loads(report_json.dumps({"x": document}))["x"])


def lines_of(text: str) -> list[str]:
    assert text.endswith("\n")
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDEST
    assert not any(line != line.rstrip() for line in lines)
    return lines
