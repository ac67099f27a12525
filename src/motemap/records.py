"""What one stage hands to the next: one frozen record each, units in the names.

Flow: `Frame` -> `FlatFrame` -> `Region` -> `MeasuredSpot` -> `Spot` -> `FrameReport`.

``None`` means unknown, never 0. Records that hold arrays compare by identity, and their
arrays are read-only. In every mask True means *usable*.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from motemap.coords import FrameGeometry, FramePoint
    from motemap.tallies import ApertureTally, Cleanliness

ImageKind = Literal["raw", "jpeg", "tiff", "png"]
SensorSource = Literal["given", "metadata", "assumed"]
StackSource = Literal["measured", "given", "history", "assumed"]
Outcome = Literal["ok", "warn", "fail"]
SpotKind = Literal["speck", "fibre", "droplet", "smear", "unsure"]
Layer = Literal["filter stack", "lens side", "inside", "unsure"]
Level = Literal["ready", "clean", "reshoot"]
Method = Literal["none", "blower", "brush", "wet swab", "service"]
State = Literal["judged", "reshoot", "unreadable"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Which body and lens took the picture."""

    maker: str | None = None
    model: str | None = None
    serial: str | None = None
    lens: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """How the picture was taken; `taken_at` is ISO 8601 without a zone unless the file has one."""

    f_number: float | None = None
    iso: float | None = None
    shutter_s: float | None = None
    focal_length_mm: float | None = None
    taken_at: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorHints:
    """What the metadata says about the sensor's size, unjudged.

    Parameters
    ----------
    focal_plane_pitch_um : float or None
        Pixel distance from FocalPlaneXResolution and its unit [um].
    focal_plane_pitch_y_um : float or None
        The same along the columns [um].
    focal_plane_width_px, focal_plane_height_px : int or None
        Pixel counts the resolution refers to (ExifImageWidth/Height).
    focal_length_35mm : float or None
        35 mm equivalent focal length [mm].
    """

    focal_plane_pitch_um: float | None = None
    focal_plane_pitch_y_um: float | None = None
    focal_plane_width_px: int | None = None
    focal_plane_height_px: int | None = None
    focal_length_35mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Metadata:
    """All that was read about a picture without its pixels.

    Parameters
    ----------
    exif_orientation : int or None
        1-8; None when absent or out of range.
    """

    camera: Camera = field(default_factory=Camera)
    exposure: Exposure = field(default_factory=Exposure)
    hints: SensorHints = field(default_factory=SensorHints)
    exif_orientation: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageInfo:
    """What kind of file the pixels came from.

    Parameters
    ----------
    bits : int
        Bits per sample of the stored data.
    mosaic : {"2x2", "6x6", "none", "linear"}
        Colour mosaic of a raw; "none" for monochrome and for ordinary pictures.
    curve : {"linear", "srgb", "profile"}
        What was undone to reach linear light. "linear" means that nothing was.
    """

    kind: ImageKind
    width_px: int
    height_px: int
    exif_orientation: int | None
    bits: int
    mosaic: Literal["2x2", "6x6", "none", "linear"] = "none"
    curve: Literal["linear", "srgb", "profile"] = "linear"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """Pixels of one picture in linear light, colours brought to one level and combined.

    Parameters
    ----------
    light : (H, W) float32
        Linear light; 1.0 is the level at which the picture clips.
    valid : (H, W) bool
        False where light was clipped or cannot be used.
    bin_px : int
        Side of the square of stored pixels that one cell of `light` averages. Cells that
        would be incomplete at the right and lower border are left out.
    clipped_frac : float
        Share of stored pixels at the clipping level (0-1).
    black_frac : float
        Share of stored pixels at or below black (0-1).
    defect_count : int
        Hot and dead pixels taken out before binning.
    code_step : (256,) or (65536,) float32 or None
        Width in linear light of each stored code, when the picture was stored with few codes
        (8 bit); None where steps are far below the noise.
    fine_noise_frac : float
        Standard deviation of single stored pixels after the defects are out, as a share of
        the light, from differences of neighbours (0-1).
    """

    light: NDArray[np.float32]
    valid: NDArray[np.bool_]
    bin_px: int
    clipped_frac: float
    black_frac: float
    defect_count: int = 0
    code_step: NDArray[np.float32] | None = None
    fine_noise_frac: float = 0.0

    def __post_init__(self) -> None:
        self.light.setflags(write=False)
        self.valid.setflags(write=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """Size of the imaging area and of its pixels; `pitch_um` is per stored pixel."""

    format: str | None
    width_mm: float | None
    height_mm: float | None
    pitch_um: float | None
    source: SensorSource


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """A loaded test shot."""

    path: str
    image: ImageInfo
    metadata: Metadata
    sensor: Sensor
    geometry: FrameGeometry
    plane: Plane


class Windows(Protocol):
    """A plane of numbers that is looked at through windows; an array is one, too."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        ...

    def __getitem__(self, window: tuple[slice, slice], /) -> NDArray[np.float32]:
        """Return the values in a window of rows and columns."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatFrame:
    """A test shot with the background divided out.

    Planes other than `valid` are to be looked at through windows, ``contrast[rows, cols]``
    with two slices: they may be worked out when they are asked for.

    Parameters
    ----------
    contrast : (H, W) float32
        Light over local background minus 1; negative where darker, 0 where not valid.
    background : (H, W) float32
        The background that was divided out, linear light.
    noise_frac : (H, W) float32
        Local standard deviation of one cell of `contrast` (robust).
    valid : (H, W) bool
        Where a mark could be judged.
    bin_px : int
        Stored pixels along the side of one cell.
    floor_frac : (H, W) float32 or None
        Depth below which contrast may be an artefact of coarse codes; None when codes are
        fine everywhere.
    step_frac : (H, W) float32 or None
        Width of one code as a share of the light; None when codes are fine everywhere.
    stripe_frac : float
        Robust standard deviation of the row or column levels taken out, the larger.
    """

    contrast: Windows
    background: Windows
    noise_frac: Windows
    valid: NDArray[np.bool_]
    bin_px: int
    floor_frac: Windows | None = None
    step_frac: Windows | None = None
    stripe_frac: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """Cells that belong to one mark.

    Parameters
    ----------
    top_cell, left_cell : int
        Upper left corner of `mask` in the flattened plane [cells].
    mask : (h, w) bool
        True for cells of the mark.
    snr : float
        Largest matched-filter signal to noise inside.
    scale_cell : float
        Gaussian sigma of the filter that answered most [cells].
    """

    top_cell: int
    left_cell: int
    mask: NDArray[np.bool_]
    snr: float
    scale_cell: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleNoise:
    """Scatter of a detection filter's output in one frame.

    Parameters
    ----------
    sigma_cell : float
        Sigma of the filter's narrow Gaussian [cells].
    surround_cell : float
        Sigma of its wide Gaussian [cells].
    scatter_frac : float
        Median over the frame of the output's local standard deviation.
    """

    sigma_cell: float
    surround_cell: float
    scatter_frac: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Detection:
    """What was found in one frame, and how much each filter scattered there."""

    regions: tuple[Region, ...]
    scale_noise: tuple[ScaleNoise, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSpot:
    """A mark as it lies in the picture, in stored pixels.

    Parameters
    ----------
    depth_frac : float
        Largest share of light lost, free of noise (0-1).
    snr : float
        Matched-filter signal to noise.
    width_px, length_px : float
        Full width at half depth across and along the mark [px].
    lost_area_px2 : float
        Sum of the light lost, bright rim included [px2].
    gain_ratio : float
        Bright light in and round the mark over the light lost (0-1 and more).
    hollow_frac : float
        Depth in the middle over the largest depth round it (1 = no hole).
    hole_frac : float
        Share of the outline's inside that is a hole (0 = none, near 1 = a thin ring).
    edge_px : float
        Depth over the steepest slope of the flank: how soft the edge is [px].
    seen_depth_frac : float
        Largest depth on the smoothed plane, nothing given back (0-1).
    calm_frac : float
        Upper quartile of the deviation from the median in the ring round the mark.
    significance : float
        Answer of the best detection filter over its local scatter, structure included.
    is_at_border : bool
        Whether the picture's edge cuts the mark.
    has_neighbour : bool
        Whether another mark is so near that the lost area is shared.
    """

    centre: FramePoint
    depth_frac: float
    snr: float
    width_px: float
    length_px: float
    lost_area_px2: float
    gain_ratio: float = 0.0
    hollow_frac: float = 1.0
    hole_frac: float = 0.0
    edge_px: float = 1.0
    seen_depth_frac: float = 0.0
    calm_frac: float = 0.0
    significance: float = 0.0
    is_at_border: bool = False
    has_neighbour: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One mark as reported; fields as in ``docs/reference/json.md``.

    Built step by step: measured and placed first, then sized, then classified.
    """

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

    def with_reasons(self, *reasons: str) -> Spot:
        """Return a copy with more reasons at the end."""
        return replace(self, reasons=(*self.reasons, *reasons))


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
    """Air-equivalent distance from the dust to the photosites."""

    distance_mm: float | None
    uncertainty_mm: float | None
    source: StackSource


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """Marks found, and marks that show at the photographer's aperture."""

    found: int = 0
    showing: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What to do, why, and what to beware of."""

    level: Level
    method: Method = "none"
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


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
    shows; with `cleanliness` it is missing in a frame that was not searched.
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
