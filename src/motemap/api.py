"""What a notebook or another program uses.

Importing this module imports numpy, scipy and the picture readers, about half a second;
``import motemap`` alone costs nothing.

::

    from motemap import api

    settings = api.Settings(work=api.WorkSettings(shoot_at_f=8.0))
    frames = api.analyse_many(api.find_frames(["trip/"]).paths, settings)
    for frame in frames:
        print(frame.file, frame.verdict)
    document = api.to_dict(frames, settings)
"""

from motemap.coords import FrameGeometry, FramePoint, SensorPoint
from motemap.errors import (
    GeometryError,
    LoadError,
    MotemapError,
    OutputError,
    SettingsError,
    UnreadableFile,
    UnsupportedFile,
)
from motemap.pipeline.batch import analyse_many, analyse_shot
from motemap.pipeline.frame import Look, analyse, load_frame, look_at
from motemap.pipeline.held import as_held
from motemap.pipeline.shots import Shot, group_shots
from motemap.pipeline.summary import RunSummary
from motemap.pipeline.walk import Found, find_frames
from motemap.pipeline.write import write_whole
from motemap.records import Frame, FrameReport, Spot, Verdict
from motemap.report.csv import render as report_csv
from motemap.report.forms import render as report
from motemap.report.json import dumps, from_dict, to_dict
from motemap.report.schema import load_schema
from motemap.report.text import TextStyle
from motemap.report.text import render as report_text
from motemap.settings import DetectSettings, FlattenSettings, Settings, WorkSettings

__all__ = [
    "DetectSettings",
    "FlattenSettings",
    "Found",
    "Frame",
    "FrameGeometry",
    "FramePoint",
    "FrameReport",
    "GeometryError",
    "LoadError",
    "Look",
    "MotemapError",
    "OutputError",
    "RunSummary",
    "SensorPoint",
    "Settings",
    "SettingsError",
    "Shot",
    "Spot",
    "TextStyle",
    "UnreadableFile",
    "UnsupportedFile",
    "Verdict",
    "WorkSettings",
    "analyse",
    "analyse_many",
    "analyse_shot",
    "as_held",
    "dumps",
    "find_frames",
    "from_dict",
    "group_shots",
    "load_frame",
    "load_schema",
    "look_at",
    "report",
    "report_csv",
    "report_text",
    "to_dict",
    "write_whole",
]
