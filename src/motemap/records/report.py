"""What is said about one frame in the end: its spots, its checks and the verdict."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from motemap.records.picture import Camera, Exposure

if TYPE_CHECKING:
    from motemap.records.picture import ImageInfo, Sensor
    from motemap.tallies import ApertureTally, Cleanliness

StackSource = Literal["measured", "given", "assumed"]
Outcome = Literal["ok", "warn", "fail"]
SpotKind = Literal["speck", "fibre", "droplet", "smear", "unsure"]
Layer = Literal["filter stack", "lens side", "inside", "unsure"]
Level = Literal["ready", "clean", "reshoot"]
Method = Literal["none", "blower", "brush", "wet swab", "service"]
State = Literal["judged", "reshoot", "unreadable"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One mark as reported; fields as in ``docs/reference/json.md``."""

    id: int
    image_x_px: float
    image_y_px: float
    from_left_mm: float | None
    from_top_mm: float | None
    place: str | None
    depth_frac: float
    snr: float
    width_um: float | None
    length_um: float | None
    lost_area_um2: float | None
    particle_um: float | None = None
    particle_um_range: tuple[float, float] | None = None
    kind: SpotKind = "unsure"
    layer: Layer = "unsure"
    shows_from_f: float | None = None
    depth_at: dict[str, float] | None = None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotCheck:
    """One thing asked of a test shot. `value` is a number or a word; `wanted` is for people."""

    name: str
    value: float | str | None
    wanted: str
    outcome: Outcome
    advice: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensitivity:
    """How faint and how small a mark this frame could have shown: nine in ten found.

    `noise_frac` is the noise of one stored pixel as a share of the light.
    """

    noise_frac: float | None = None
    smallest_depth_frac: float | None = None
    smallest_particle_um: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Air-equivalent distance from the dust to the photosites.

    `is_from_record` says who gave a distance that is "given": other frames of the body that
    could measure it, from its record or from the other states of a comparison, and not the user.
    """

    distance_mm: float | None
    uncertainty_mm: float | None
    source: StackSource
    is_from_record: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """Marks found, and marks that show at the photographer's aperture, wherever they lie.

    `showing_on_lens` of those that show come from the lens: no dirt of the sensor, and nothing in
    the verdict. None where it was not told: in what an older program wrote.
    """

    found: int = 0
    showing: int = 0
    showing_on_lens: int | None = 0

    @property
    def showing_on_sensor(self) -> int | None:
        """Marks that show and are the sensor's own; None where those were not told apart."""
        return None if self.showing_on_lens is None else self.showing - self.showing_on_lens


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedReason:
    """A reason that says where a mark lies, so that it can be said of a body held otherwise.

    Parameters
    ----------
    at : int
        Which of the reasons it is, counted from 0.
    spot_id : int
        The mark.
    past : str
        What it has lived through, in words.
    """

    at: int
    spot_id: int
    past: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What to do, why, and what to beware of; `placed` is no part of a report."""

    level: Level
    method: Method = "none"
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    placed: PlacedReason | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorNote:
    """Why a file could not be used, and what to do about it."""

    cause: str
    repair: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameReport:
    """All that is said about one frame; the JSON report is this record, key by key.

    `image` and `verdict` are None only for an unreadable file. `notes` are remarks for
    people: a twin file left out, an assumption made. `forecast` says for each full stop what
    shows; with `cleanliness` it is missing in a frame that was not searched, or is to be shot again.
    """

    file: str
    state: State
    error: ErrorNote | None = None
    camera: Camera = field(default_factory=Camera)
    image: ImageInfo | None = None
    sensor: Sensor | None = None
    exposure: Exposure = field(default_factory=Exposure)
    shot_checks: tuple[ShotCheck, ...] = ()
    sensitivity: Sensitivity = field(default_factory=Sensitivity)
    stack: Stack = field(
        default_factory=lambda: Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    )
    spots: tuple[Spot, ...] = ()
    counts: Counts = field(default_factory=Counts)
    forecast: tuple[ApertureTally, ...] = ()
    cleanliness: Cleanliness | None = None
    verdict: Verdict | None = None
    notes: tuple[str, ...] = ()
