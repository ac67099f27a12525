"""From the plain values a user gives to the record a frame is drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from motemap.errors import SettingsError
from motemap.synth.camera import PictureSpec, SensorSpec
from motemap.synth.marks import MarkMix
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileFormat, FileSpec, FrameSpec

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.synth.files import Cfa

FORMAT_OF_SUFFIX: dict[str, FileFormat] = {
    ".dng": "dng",
    ".jpg": "jpeg",
    ".jpeg": "jpeg",
    ".tif": "tiff",
    ".tiff": "tiff",
    ".png": "png",
}
"""Kind of file by its name's ending."""

PERCENT = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """A frame as a user asks for it; percentages, not shares.

    Parameters
    ----------
    size_px : tuple of int
        Width and height.
    pitch_um, f_number, stack_mm, iso
        See `FrameSpec` and `SensorSpec`.
    n_specks, n_fibres, n_droplets, n_smears, n_lens : int
        Marks; half of the droplets are clear, half dirty, see `MarkMix`.
    exposure_pct, vignetting_pct, tilt_pct, mottle_pct, banding_pct, screen_pct : float
        See `SceneSpec`, in per cent.
    n_hot, n_dead : int
        Bright and dark single pixels.
    mosaic, quality, orientation
        See `FileSpec`.
    has_exif : bool
        Whether metadata are written.
    """

    seed: int = 1
    size_px: tuple[int, int] = (6000, 4000)
    pitch_um: float = 6.0
    f_number: float = 22.0
    stack_mm: float = 1.3
    iso: float = 100.0
    n_specks: int = 40
    n_fibres: int = 2
    n_droplets: int = 0
    n_smears: int = 0
    n_lens: int = 0
    exposure_pct: float = 60.0
    vignetting_pct: float = 20.0
    tilt_pct: float = 3.0
    mottle_pct: float = 0.0
    banding_pct: float = 0.0
    screen_pct: float = 0.0
    n_hot: int = 0
    n_dead: int = 0
    mosaic: Cfa = "RGGB"
    quality: int = 95
    orientation: int = 1
    has_exif: bool = True

    @classmethod
    def named(cls, values: dict[str, Any]) -> Wish:
        """Build a wish from values under the names of the program's options."""
        named = {_FIELD_OF_OPTION.get(name, name): value for name, value in values.items()}
        named["has_exif"] = not named.pop("no_exif", False)
        return cls(**named)


_FIELD_OF_OPTION = {
    "specks": "n_specks",
    "fibres": "n_fibres",
    "droplets": "n_droplets",
    "smears": "n_smears",
    "lens_dust": "n_lens",
    "hot": "n_hot",
    "dead": "n_dead",
    "exposure": "exposure_pct",
    "vignetting": "vignetting_pct",
    "tilt": "tilt_pct",
    "mottle": "mottle_pct",
    "banding": "banding_pct",
    "screen": "screen_pct",
}
"""Names that a person types, and the fields they stand for."""


def format_of(path: Path) -> FileFormat:
    """Return the kind of file that a name asks for.

    Raises
    ------
    SettingsError
        When the ending is none that can be written.
    """
    suffix = path.suffix.lower()
    if suffix not in FORMAT_OF_SUFFIX:
        raise SettingsError(
            f"The ending {path.suffix!r} names no format that can be written.",
            repair=f"End the name in one of {', '.join(FORMAT_OF_SUFFIX)}.",
            path=str(path),
        )
    return FORMAT_OF_SUFFIX[suffix]


def spec_from(wish: Wish, path: Path) -> FrameSpec:
    """Return the record to draw from.

    Raises
    ------
    SettingsError
        When the file's ending or a value is out of range.
    """
    width_px, height_px = wish.size_px
    return FrameSpec(
        seed=wish.seed,
        width_px=width_px,
        height_px=height_px,
        pitch_um=wish.pitch_um,
        f_number=wish.f_number,
        stack_mm=wish.stack_mm,
        mix=_mix_from(wish),
        scene=_scene_from(wish),
        sensor=SensorSpec(iso=wish.iso, n_hot=wish.n_hot, n_dead=wish.n_dead),
        picture=PictureSpec(),
        file=FileSpec(
            format=format_of(path),
            mosaic=wish.mosaic,
            quality=wish.quality,
            orientation=wish.orientation,
            has_exif=wish.has_exif,
        ),
    )


def _mix_from(wish: Wish) -> MarkMix:
    n_clear = wish.n_droplets // 2
    return MarkMix(
        n_specks=wish.n_specks,
        n_fibres=wish.n_fibres,
        n_clear_drops=n_clear,
        n_dirty_drops=wish.n_droplets - n_clear,
        n_smears=wish.n_smears,
        n_lens=wish.n_lens,
    )


def _scene_from(wish: Wish) -> SceneSpec:
    return SceneSpec(
        exposure_frac=wish.exposure_pct / PERCENT,
        vignetting_frac=wish.vignetting_pct / PERCENT,
        tilt_frac=wish.tilt_pct / PERCENT,
        mottle_frac=wish.mottle_pct / PERCENT,
        row_banding_frac=wish.banding_pct / PERCENT,
        screen_frac=wish.screen_pct / PERCENT,
    )
