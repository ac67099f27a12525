"""Ask whether a shot could have shown small dust: is it fine enough, and quiet enough."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from motemap.shot.answer import ROUNDING, answer

if TYPE_CHECKING:
    from motemap.records import ImageInfo, Outcome, ShotCheck
    from motemap.settings import WorkSettings
    from motemap.shot.sensitivity import FaintShadow

WIDEST_ASKED_F = 16.0
"""The widest aperture that a test shot is asked for."""
SIDE_MIN_PX = 400
"""Short side of a picture with hardly the cells that the background asks for ..."""
SIDE_GOOD_PX = 1800
"""... and of one large enough to be no reduced copy; a choice."""
DEFECT_REACH_PX = 2.0
"""How far neighbours lie by which `motemap.load` tells a defect."""
LEAST_SHARE, LEAST_SHARE_OF_PHOTOSITES = 0.25, 0.0
"""With less, fewer than nine in ten deep specks are found (drawn frames, pitch 6 to 24 um); a
single photosite shows its defects as they are."""
PHOTOSITE_MOSAICS = ("2x2", "none")
"""The cells of a 6x6 mosaic are wider than such shadows."""
TOO_NOISY = (
    "This frame is too noisy to show dust of any size: use base ISO, expose longer, and shoot an "
    "empty bright screen."
)
ROUGH = (
    "Fainter marks may have been missed. They do not matter if the shot was taken at f/16 or narrower: use "
    "a lens that reports its aperture."
)
TOO_ROUGH = (
    "Fainter marks may have been missed, and without aperture and sensor size nobody can say that they "
    "do not matter: use base ISO, expose longer, take the raw file, and a lens that reports its aperture."
)


def check_resolution(
    info: ImageInfo, shadow: FaintShadow | None = None, narrowest: FaintShadow | None = None
) -> ShotCheck:
    """Ask whether the picture has pixels enough.

    Parameters
    ----------
    info : ImageInfo
    shadow : FaintShadow, optional
        What a small speck throws in this frame. One too narrow to be told from a defect is
        taken out with those when the picture is loaded, however deep it is.
    narrowest : FaintShadow, optional
        The same from the nearest distance that has to be reckoned with where it is assumed.
    """
    side = min(info.width_px, info.height_px)
    outcome: Outcome = "fail" if side < SIDE_MIN_PX else "warn" if side < SIDE_GOOD_PX else "ok"
    wanted = f"{SIDE_GOOD_PX} px or more on the short side"
    advice = "Use the full-size picture as the camera wrote it: small copies lose small dust."
    fine = "pixels so fine that small shadows are wider than a defect"
    value: float | str = float(side)
    if shadow is not None and _is_defect_like(shadow, info):
        outcome, wanted, value = "fail", fine, _width_words(shadow)
        advice = (
            "Shadows of small dust may be so narrow in these pixels that they cannot be told from "
            "defects: use the full-size picture, best the raw file."
        )
    elif outcome != "fail" and narrowest is not None and _is_defect_like(narrowest, info):
        outcome, wanted, value = "warn", fine, _width_words(narrowest)
        advice = (
            "Should the dust be nearer to the photosites than is assumed, its shadows are so narrow in "
            "these pixels that they are taken for defects: use the full-size picture, best the raw file."
        )
    return answer("resolution", value, wanted, outcome, advice)


def _is_defect_like(shadow: FaintShadow, info: ImageInfo) -> bool:
    return shadow.share_at(DEFECT_REACH_PX) < _least_share(info)


def _width_words(shadow: FaintShadow) -> str:
    return f"small shadows {shadow.width_px:.2g} px wide"


def _least_share(info: ImageInfo) -> float:
    """Return what share of its depth a shadow must have beyond the reach of a defect."""
    has_photosites = info.kind == "raw" and info.mosaic in PHOTOSITE_MOSAICS
    return LEAST_SHARE_OF_PHOTOSITES if has_photosites else LEAST_SHARE


def _harmless_depth(work: WorkSettings) -> float:
    """Return how deep in the widest test shot asked for a speck is that just shows in pictures.

    The depth of a small speck grows with the square of the f-number.
    """
    return work.show_depth_frac * max(1.0, (WIDEST_ASKED_F / work.shoot_at_f) ** 2)


def check_sensitivity(
    smallest_um: float | None,
    matters_um: float | None,
    work: WorkSettings,
    smallest_depth_frac: float = 0.0,
) -> ShotCheck:
    """Ask whether the frame could have shown the smallest speck that matters.

    Parameters
    ----------
    smallest_um : float or None
        Smallest speck nine in ten of which this frame shows [um]; None when it shows none.
    matters_um : float or None
        Smallest speck that shows at the photographer's aperture [um]; None when none does. Both
        are None where aperture or sensor size is unknown.
    work : WorkSettings
        The photographer's aperture, and from which depth on marks show.
    smallest_depth_frac : float
        Depth from which on marks are found; asked of where both sizes are None. There what shows
        is judged by its depth in this very shot: what is missed may matter, unless the shot was
        taken at an aperture narrower than the photographer's, as is asked for.
    """
    name, wanted = "sensitivity", f"specks that show at f/{work.shoot_at_f:g}"
    if smallest_um is None and matters_um is None:
        if smallest_depth_frac > work.show_depth_frac:
            # Rounded up, so that it never reads as little as what is wanted.
            least_percent = math.ceil(1e4 * smallest_depth_frac - ROUNDING) / 100
            found = f"marks from {least_percent:.4g} % of the light on"
            is_blind = smallest_depth_frac > _harmless_depth(work)
            return answer(
                name,
                found,
                f"from {100 * work.show_depth_frac:.3g} % on",
                "fail" if is_blind else "warn",
                TOO_ROUGH if is_blind else ROUGH,
            )
        return answer(
            name,
            None,
            wanted,
            "warn",
            "Aperture or sensor size is unknown, so this could not be worked out.",
        )
    if matters_um is None:
        return answer(
            name, None if smallest_um is None else round(smallest_um, 1), wanted, "ok", ""
        )
    wanted = f"{matters_um:.1f} um or smaller"
    if smallest_um is None:
        return answer(
            name,
            None,
            wanted,
            "fail",
            TOO_NOISY,
        )
    is_fine = smallest_um <= matters_um
    return answer(
        name,
        # A failure never reads as what is wanted.
        round(smallest_um if is_fine else max(smallest_um, round(matters_um, 1) + 0.1), 1),
        wanted,
        "ok" if is_fine else "fail",
        f"This frame could not have shown all dust that matters at f/{work.shoot_at_f:g}: "
        "close down further, use base ISO, or take the raw file.",
    )
