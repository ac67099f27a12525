"""A picture as it was loaded: what was read about it, and its light."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from motemap.coords import FrameGeometry

ImageKind = Literal["raw", "jpeg", "tiff", "png"]
SensorSource = Literal["given", "metadata", "assumed"]


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
    block_step_codes : (8, 8) float32 or None
        Steps in which the cosines of blocks of 8 x 8 stored pixels are kept, by frequency down
        and across [codes], when the picture was stored as such; blocks begin in its upper left
        corner.
    fine_noise_frac : float
        Standard deviation of single stored pixels after the defects are out, as a share of
        the light, from differences of neighbours (0-1).
    has_photosites : bool
        Whether each stored pixel was one photosite's own; otherwise it holds parts of its
        neighbours, and so does what is left of a defect.
    """

    light: NDArray[np.float32]
    valid: NDArray[np.bool_]
    bin_px: int
    clipped_frac: float
    black_frac: float
    defect_count: int = 0
    code_step: NDArray[np.float32] | None = None
    block_step_codes: NDArray[np.float32] | None = None
    fine_noise_frac: float = 0.0
    has_photosites: bool = False

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
    """A loaded test shot.

    `notes` say to people what was assumed of its sensor, corrected or left out.
    """

    path: str
    image: ImageInfo
    metadata: Metadata
    sensor: Sensor
    geometry: FrameGeometry
    plane: Plane
    notes: tuple[str, ...] = ()
