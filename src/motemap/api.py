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

    shot = api.look_at(path, settings)
    drawn = api.sensor_map_svg(shot.report, work=settings.work)
    plan = api.forecast_frame(path, settings, (5.6, 8.0, 11.0))
"""

from motemap.changes import Comparison
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
from motemap.optics.vision import Viewing
from motemap.pipeline.batch import analyse_many, analyse_shot
from motemap.pipeline.bursts import judge_burst, judge_bursts
from motemap.pipeline.forecast import Forecast, forecast_frame
from motemap.pipeline.frame import analyse, load_frame, look_at
from motemap.pipeline.held import as_held
from motemap.pipeline.judging import Look
from motemap.pipeline.shots import Shot, group_shots
from motemap.pipeline.states import compare_all, load_states
from motemap.pipeline.summary import RunSummary
from motemap.pipeline.walk import Found, find_frames
from motemap.pipeline.write import write_whole
from motemap.place import Hold, find_hold
from motemap.records import Frame, FrameReport, Spot, Verdict
from motemap.report.csv import render as report_csv
from motemap.report.forms import render as report
from motemap.report.json import dumps, from_dict, to_dict
from motemap.report.page.pages import comparison_html, index_html, page_html
from motemap.report.pictures.comparison_map import comparison_map_png, comparison_map_svg
from motemap.report.pictures.contact_strip import contact_strip_png
from motemap.report.pictures.mask import PhotoShape, retouch_mask
from motemap.report.pictures.sensor_map import sensor_map_png, sensor_map_svg
from motemap.report.pictures.strip import Strip, cut_strip
from motemap.report.schema import load_schema
from motemap.report.text import TextStyle
from motemap.report.text import render as report_text
from motemap.settings import DetectSettings, FlattenSettings, Settings, WorkSettings
from motemap.tallies import ApertureTally, Cleanliness

__all__ = [
    "ApertureTally",
    "Cleanliness",
    "Comparison",
    "DetectSettings",
    "FlattenSettings",
    "Forecast",
    "Found",
    "Frame",
    "FrameGeometry",
    "FramePoint",
    "FrameReport",
    "GeometryError",
    "Hold",
    "LoadError",
    "Look",
    "MotemapError",
    "OutputError",
    "PhotoShape",
    "RunSummary",
    "SensorPoint",
    "Settings",
    "SettingsError",
    "Shot",
    "Spot",
    "Strip",
    "TextStyle",
    "UnreadableFile",
    "UnsupportedFile",
    "Verdict",
    "Viewing",
    "WorkSettings",
    "analyse",
    "analyse_many",
    "analyse_shot",
    "as_held",
    "compare_all",
    "comparison_html",
    "comparison_map_png",
    "comparison_map_svg",
    "contact_strip_png",
    "cut_strip",
    "dumps",
    "find_frames",
    "find_hold",
    "forecast_frame",
    "from_dict",
    "group_shots",
    "index_html",
    "judge_burst",
    "judge_bursts",
    "load_frame",
    "load_schema",
    "load_states",
    "look_at",
    "page_html",
    "report",
    "report_csv",
    "report_text",
    "retouch_mask",
    "sensor_map_png",
    "sensor_map_svg",
    "to_dict",
    "write_whole",
]
