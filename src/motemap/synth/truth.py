"""What is known of a drawn mark, under the same names as in the report."""

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from motemap.records import Layer, SpotKind
from motemap.synth.marks import Form, Mark
from motemap.synth.pupil import WHITE_OF_RGB
from motemap.synth.shadow import Shadow

TRUTH_VERSION = 1
HALF = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueMark:
    """One drawn mark.

    Parameters
    ----------
    id : int
        Number in the frame, from 1.
    kind, form, layer : str
        As the report should call it; what it is more finely; where it lies.
    image_x_px, image_y_px : float
        Centre in the stored picture, whole numbers at pixel centres [px].
    from_left_mm, from_top_mm : float
        The same on the sensor, looking into the mount, camera upright [mm].
    depth_frac : float
        Largest share of light lost on a pixel of the stored picture, red, green and blue
        photosites weighted by their number, free of noise (0-1).
    gain_frac : float
        Largest share of light gained, likewise.
    snr : float
        Signal to noise of a filter that knows shape and noise, over the part inside the frame.
    width_um : float
        Full width at half depth: diameter of the disc of that area, or for a long mark its
        area over its length [um].
    length_um, size_um : float
        Length and true size of the thing itself, see `Mark` [um].
    lost_area_um2 : float
        Light stopped as an area, summed over an endless window [um2].
    particle_um : float
        Opaque-equivalent diameter from that area; for a fibre its width [um].
    stack_mm : float
        Air-equivalent distance from the mark to the photosites [mm].
    """

    id: int
    kind: SpotKind
    form: Form
    layer: Layer
    image_x_px: float
    image_y_px: float
    from_left_mm: float
    from_top_mm: float
    depth_frac: float
    gain_frac: float
    snr: float
    width_um: float
    length_um: float
    size_um: float
    lost_area_um2: float
    particle_um: float
    stack_mm: float

    def to_dict(self) -> dict[str, Any]:
        """Return the record as a dictionary of plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenShadow:
    """How a shadow looks in the stored picture, before it is placed."""

    depth_frac: float
    gain_frac: float
    width_um: float


def whiten(loss: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the loss averaged over the colours by their number of photosites.

    Parameters
    ----------
    loss : (C, h, w) float32
        Loss of one channel or of red, green and blue.
    """
    if loss.shape[0] == 1:
        white: NDArray[np.float32] = loss[0]
        return white
    weights = np.asarray(WHITE_OF_RGB, dtype=np.float32)
    summed: NDArray[np.float32] = np.tensordot(weights, loss, axes=1)
    return summed


def look_of(shadow: Shadow, mark: Mark, shrink: int) -> SeenShadow:
    """Return depth and width of a shadow at the pixel scale of the stored picture."""
    white = whiten(shadow.loss)
    if shrink > 1:
        white = ndimage.uniform_filter(white, shrink)
    fine = whiten(shadow.fine_loss)
    half_um2 = float((fine >= HALF * fine.max()).sum()) * shadow.fine_step_um**2
    width_um = 2.0 * math.sqrt(half_um2 / math.pi)
    if mark.length_um > 2.0 * mark.size_um:
        # A band of length L with round ends: area = w L + pi w^2 / 4, solved for w.
        length_um = mark.length_um
        width_um = (math.sqrt(length_um**2 + math.pi * half_um2) - length_um) * 2.0 / math.pi
    return SeenShadow(
        depth_frac=max(float(white.max()), 0.0),
        gain_frac=max(float(-white.min()), 0.0),
        width_um=width_um,
    )


def particle_um(mark: Mark, lost_area_um2: float) -> float:
    """Return the opaque-equivalent diameter, or the width of a fibre [um]."""
    if mark.kind == "fibre":
        return mark.size_um
    return math.sqrt(4.0 * max(lost_area_um2, 0.0) / math.pi)
