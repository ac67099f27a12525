"""Our choices, each in one place: one frozen record per stage, gathered in `Settings`.

True facts of the world live in `motemap.facts`; nothing here claims to be one.
"""

from dataclasses import asdict, dataclass, field
from typing import Any

from motemap.errors import SettingsError

NARROWEST_F = 64.0
WIDEST_F = 0.7
"""Bounds of the apertures that lenses have (from memory); beyond them lies a slip of the pen."""
LARGEST_STACK_MM = 50.0
"""Farther from the photosites lies no filter glass of any camera; more is a slip of the unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkSettings:
    """What the photographer works with and cares about.

    Parameters
    ----------
    shoot_at_f : float
        Narrowest aperture the photographer works at (f-number).
    show_depth_frac : float
        Share of light lost from which on a mark is said to show (0-1).
    sensor : str or None
        Sensor format name or ``WxH`` in mm given by the user; None reads the metadata.
    stack_mm : float or None
        Air-equivalent distance from dust to photosites [mm]; None measures it.
    done : tuple of str
        Cleaning methods already tried, in order.
    view : str or None
        How the finished picture is looked at, in the words of `motemap.optics.vision.Viewing`;
        a mark shows when an eye could see it so. None goes by ``show_depth_frac`` alone.
    """

    shoot_at_f: float = 11.0
    show_depth_frac: float = 0.02
    sensor: str | None = None
    stack_mm: float | None = None
    done: tuple[str, ...] = ()
    view: str | None = None

    def __post_init__(self) -> None:
        if not WIDEST_F <= self.shoot_at_f <= NARROWEST_F:
            raise SettingsError(
                f"Aperture f/{self.shoot_at_f:g} is out of range.",
                repair=f"Give an f-number between {WIDEST_F:g} and {NARROWEST_F:g}.",
            )
        if not 0 < self.show_depth_frac < 1:
            raise SettingsError(
                f"A depth of {self.show_depth_frac * 100:g} % is out of range.",
                repair="Give a percentage above 0 and below 100.",
            )
        if self.stack_mm is not None and not 0 < self.stack_mm <= LARGEST_STACK_MM:
            raise SettingsError(
                f"A stack distance of {self.stack_mm:g} mm is out of range.",
                repair="Give the air-equivalent distance in mm, usually 0.3 to 3.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class FlattenSettings:
    """How the background is followed.

    Parameters
    ----------
    box_per_blur : float
        Side of a background box over the diameter of the widest blur disc.
    box_min_px, box_max_px : float
        Bounds of that side [stored px].
    median_boxes : int
        Boxes a side that a running median goes over.
    dark_frac : float
        Share of the brightest background below which a place is too dark to judge.
    """

    box_per_blur: float = 3.0
    box_min_px: float = 96.0
    box_max_px: float = 256.0
    median_boxes: int = 3
    dark_frac: float = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectSettings:
    """When a dip counts as a mark.

    Parameters
    ----------
    snr_min : float
        Matched-filter signal to noise that a mark needs somewhere.
    snr_grow : float
        Signal to noise down to which a mark is followed.
    depth_min_frac : float
        Smallest depth of the smoothed plane that is followed up; a speck's own depth is about
        twice that.
    """

    snr_min: float = 6.2
    snr_grow: float = 3.0
    depth_min_frac: float = 0.0015


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All settings of a run; the whole is echoed in the JSON report."""

    work: WorkSettings = field(default_factory=WorkSettings)
    flatten: FlattenSettings = field(default_factory=FlattenSettings)
    detect: DetectSettings = field(default_factory=DetectSettings)

    def to_dict(self) -> dict[str, Any]:
        """Return the settings as plain nested dictionaries."""
        return asdict(self)
