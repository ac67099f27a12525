"""What a test frame is drawn from, and how it is stored."""

from dataclasses import dataclass, field
from typing import Literal

from motemap.errors import SettingsError
from motemap.synth.camera import PictureSpec, SensorSpec
from motemap.synth.files import Cfa, Compression, FileTags, Subsampling
from motemap.synth.marks import MarkMix
from motemap.synth.pupil import Pupil
from motemap.synth.scene import SceneSpec

FileFormat = Literal["dng", "jpeg", "tiff", "png"]

LEAST_SIDE_PX = 32
LARGEST_FRAME_PX = 250_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class FileSpec:
    """How a frame is stored.

    Parameters
    ----------
    format : {"dng", "jpeg", "tiff", "png"}
        Kind of file; all but "dng" hold a finished picture.
    mosaic : str
        Colour mosaic of a raw, or "MONO" or "LINEAR".
    compression : {"none", "ljpeg"}
        Of a raw.
    quality, subsampling : int, str
        Of a JPEG.
    orientation : int
        Exif orientation, 1-8.
    is_turned : bool
        Whether a program turned the pixels to portrait and set the orientation to 1.
    has_exif : bool
        Whether metadata are written.
    tags : FileTags
        Camera, lens and time; aperture, ISO and pixel distance are filled in.
    """

    format: FileFormat = "dng"
    mosaic: Cfa = "RGGB"
    compression: Compression = "none"
    quality: int = 95
    subsampling: Subsampling = "4:2:0"
    orientation: int = 1
    is_turned: bool = False
    has_exif: bool = True
    tags: FileTags = field(
        default_factory=lambda: FileTags(
            maker="Larkfield",
            model="LF-6",
            serial="600142",
            lens="50mm F2",
            shutter_s=1 / 60,
            focal_length_mm=50.0,
            taken_at="2024-03-02T10:15:00",
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSpec:
    """Everything a frame is drawn from; the same record gives the same pixels.

    Parameters
    ----------
    seed : int
        Seed of all that is random.
    width_px, height_px : int
        Photosites across and down [px].
    pitch_um : float
        Distance of photosites [um].
    f_number : float
        Aperture; used as given, f/22 is 22.
    stack_mm : float
        Air-equivalent distance of the filter stack's outer face [mm].
    pupil, mix, scene, sensor, picture, file
        Opening, marks, blank field, photosites, cooking of pictures, and file.
    """

    seed: int = 1
    width_px: int = 6000
    height_px: int = 4000
    pitch_um: float = 6.0
    f_number: float = 22.0
    stack_mm: float = 1.3
    pupil: Pupil = field(default_factory=Pupil)
    mix: MarkMix = field(default_factory=MarkMix)
    scene: SceneSpec = field(default_factory=SceneSpec)
    sensor: SensorSpec = field(default_factory=SensorSpec)
    picture: PictureSpec = field(default_factory=PictureSpec)
    file: FileSpec = field(default_factory=FileSpec)

    def __post_init__(self) -> None:
        size = f"A frame of {self.width_px} x {self.height_px} px"
        if min(self.width_px, self.height_px) < LEAST_SIDE_PX:
            raise SettingsError(
                f"{size} is too small to draw.", repair=f"Give at least {LEAST_SIDE_PX} px a side."
            )
        if self.width_px * self.height_px > LARGEST_FRAME_PX:
            raise SettingsError(
                f"{size} is too large to draw.",
                repair=f"Stay below {LARGEST_FRAME_PX // 1_000_000} million pixels.",
            )

    @property
    def is_picture(self) -> bool:
        """Whether the file holds a finished picture instead of raw values."""
        return self.file.format != "dng"

    @property
    def shrink(self) -> int:
        """By how much the stored picture is smaller than the sensor's photosites."""
        return self.picture.shrink if self.is_picture else 1

    @property
    def is_colour(self) -> bool:
        """Whether all three colours are stored for every pixel."""
        return self.is_picture or self.file.mosaic == "LINEAR"
