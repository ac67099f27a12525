"""What one stage hands to the next: one frozen record each, units in the names.

Flow: `Frame` -> `FlatFrame` -> `Region` -> `MeasuredSpot` -> `Spot` -> `FrameReport`. Between the
last three, all marks of a frame are one `MeasuredSpots`.

``None`` means unknown, never 0; in columns of numbers NaN does. Records that hold arrays compare by
identity, and their arrays are read-only. In every mask True means *usable*.
"""

from motemap.records.cells import Cells
from motemap.records.columns import MeasuredSpots
from motemap.records.detection import (
    Detection,
    FlatFrame,
    MeasuredSpot,
    Region,
    ScaleNoise,
    Windows,
)
from motemap.records.picture import (
    Camera,
    Exposure,
    Frame,
    ImageInfo,
    ImageKind,
    Metadata,
    Plane,
    Sensor,
    SensorHints,
    SensorSource,
)
from motemap.records.regions import Regions
from motemap.records.report import (
    Counts,
    ErrorNote,
    FrameReport,
    Layer,
    Level,
    Method,
    Outcome,
    PlacedReason,
    Sensitivity,
    ShotCheck,
    Spot,
    SpotKind,
    Stack,
    StackSource,
    State,
    Verdict,
)

__all__ = [
    "Camera",
    "Cells",
    "Counts",
    "Detection",
    "ErrorNote",
    "Exposure",
    "FlatFrame",
    "Frame",
    "FrameReport",
    "ImageInfo",
    "ImageKind",
    "Layer",
    "Level",
    "MeasuredSpot",
    "MeasuredSpots",
    "Metadata",
    "Method",
    "Outcome",
    "PlacedReason",
    "Plane",
    "Region",
    "Regions",
    "ScaleNoise",
    "Sensitivity",
    "Sensor",
    "SensorHints",
    "SensorSource",
    "ShotCheck",
    "Spot",
    "SpotKind",
    "Stack",
    "StackSource",
    "State",
    "Verdict",
    "Windows",
]
