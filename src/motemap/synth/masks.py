"""What lies on the glass, as a thin mask: how much light passes, and how far it is delayed.

Every mask answers for points in micrometres from its own centre, right and down.
"""

import itertools
import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WATER_INDEX_MINUS_1 = 0.333
"""Refractive index of water less that of air, visible light (handbook value, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Paint:
    """A mask on small cells.

    Amplitude and intensity are averaged over each cell on their own: a cell half covered by
    something opaque passes half the amplitude and half the light, not a quarter.

    Parameters
    ----------
    amplitude : (h, w) float64
        Mean amplitude passed (0-1).
    intensity : (h, w) float64
        Mean share of the light passed (0-1).
    delay_um : (h, w) float64 or None
        Optical path added [um]; None when there is none.
    """

    amplitude: Floats
    intensity: Floats
    delay_um: Floats | None = None


class Mask(Protocol):
    """Anything that can lie on the glass; unless it says so, with edges and bending no light."""

    __slots__ = ()

    @property
    def reach_um(self) -> tuple[float, float]:
        """Half width and half height of the box that holds the mark [um]."""
        ...

    @property
    def scale_um(self) -> float:
        """Smallest detail that spreads light: diameter or width [um]."""
        ...

    @property
    def is_lens(self) -> bool:
        """Whether the mark bends light."""
        return False

    @property
    def is_soft(self) -> bool:
        """Whether the mark has no edges, so that it throws no light wide."""
        return False

    def paint(self, right_um: Floats, down_um: Floats, cell_um: float) -> Paint:
        """Return what passes through cells `cell_um` wide with these centres."""
        ...


def covered_share(inside_um: Floats, cell_um: float) -> Floats:
    """Share of a cell that lies inside an edge `inside_um` away (positive inside)."""
    covered: Floats = np.clip(0.5 + inside_um / cell_um, 0.0, 1.0)
    return covered


def film_paint(covered: Floats, opacity: float) -> Paint:
    """Return a film of one opacity that covers each cell in part."""
    return Paint(
        amplitude=1.0 - covered * (1.0 - math.sqrt(1.0 - opacity)),
        intensity=1.0 - covered * opacity,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A closed line about the centre: a circle with a few waves on it.

    Parameters
    ----------
    diameter_um : float
        Diameter of the disc with the same area [um].
    waves : tuple of (float, float)
        Cosine and sine share of the radius for two, three, ... waves round the line.
    """

    diameter_um: float
    waves: tuple[tuple[float, float], ...] = ()

    @property
    def mean_radius_um(self) -> float:
        """Mean radius that gives the wanted area [um]."""
        extra = sum(c * c + s * s for c, s in self.waves)
        return 0.5 * self.diameter_um / math.sqrt(1.0 + 0.5 * extra)

    @property
    def reach_um(self) -> float:
        """Upper bound of the distance from the centre [um]."""
        return self.mean_radius_um * (1.0 + sum(math.hypot(c, s) for c, s in self.waves))

    def inside_um(self, right_um: Floats, down_um: Floats) -> Floats:
        """Distance to the line [um], positive inside, exact to first order near the line."""
        distance_um = np.hypot(right_um, down_um)
        if not self.waves:
            return self.mean_radius_um - distance_um
        angle = np.arctan2(down_um, right_um)
        radius, slope = np.ones_like(angle), np.zeros_like(angle)
        for number, (cosine, sine) in enumerate(self.waves, start=2):
            turn_cos, turn_sin = np.cos(number * angle), np.sin(number * angle)
            radius += cosine * turn_cos + sine * turn_sin
            slope += number * (sine * turn_cos - cosine * turn_sin)
        return (self.mean_radius_um * radius - distance_um) / np.hypot(1.0, slope / radius)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeckMask(Mask):
    """A grain that stops light, wholly or in part.

    Parameters
    ----------
    outline : Outline
        Edge of the grain.
    opacity : float
        Share of the light stopped inside (0-1).
    """

    outline: Outline
    opacity: float = 1.0

    @property
    def reach_um(self) -> tuple[float, float]:
        """Half width and half height of the box that holds the mark [um]."""
        return (self.outline.reach_um, self.outline.reach_um)

    @property
    def scale_um(self) -> float:
        """Diameter [um]."""
        return self.outline.diameter_um

    def paint(self, right_um: Floats, down_um: Floats, cell_um: float) -> Paint:
        """Return what passes through cells `cell_um` wide with these centres."""
        covered = covered_share(self.outline.inside_um(right_um, down_um), cell_um)
        return film_paint(covered, self.opacity)


@dataclass(frozen=True, slots=True, kw_only=True)
class FibreMask(Mask):
    """A thread along a bent line.

    Parameters
    ----------
    line_um : tuple of (float, float)
        Points along the middle, right and down from the centre [um], close together.
    width_um : float
        Thickness [um].
    opacity : float
        Share of the light stopped (0-1).
    """

    line_um: tuple[tuple[float, float], ...]
    width_um: float
    opacity: float = 1.0

    @property
    def reach_um(self) -> tuple[float, float]:
        """Half width and half height of the box that holds the mark [um]."""
        points = np.abs(np.asarray(self.line_um))
        half_um = 0.5 * self.width_um
        return (float(points[:, 0].max()) + half_um, float(points[:, 1].max()) + half_um)

    @property
    def scale_um(self) -> float:
        """Thickness [um]."""
        return self.width_um

    def paint(self, right_um: Floats, down_um: Floats, cell_um: float) -> Paint:
        """Return what passes through cells `cell_um` wide with these centres."""
        inside_um = 0.5 * self.width_um - self._distance_um(right_um, down_um)
        covered = covered_share(inside_um, cell_um)
        return film_paint(covered, self.opacity)

    def _distance_um(self, right_um: Floats, down_um: Floats) -> Floats:
        """Distance to the line where it is near, far elsewhere."""
        columns, rows = right_um[0, :], down_um[:, 0]
        nearest = np.full((rows.size, columns.size), 2.0 * self.width_um)
        points = np.asarray(self.line_um)
        for start, end in itertools.pairwise(points):
            lows = np.minimum(start, end) - self.width_um
            highs = np.maximum(start, end) + self.width_um
            col = slice(*np.searchsorted(columns, [lows[0], highs[0]]))
            row = slice(*np.searchsorted(rows, [lows[1], highs[1]]))
            part = nearest[row, col]
            np.minimum(part, _to_segment(columns[col], rows[row], start, end), out=part)
        return nearest


def _to_segment(columns: Floats, rows: Floats, start: Floats, end: Floats) -> Floats:
    """Distance of every grid point to the straight piece from start to end [um]."""
    edge = end - start
    right, down = columns[None, :] - start[0], rows[:, None] - start[1]
    along = np.clip((right * edge[0] + down * edge[1]) / max(float(edge @ edge), 1e-12), 0.0, 1.0)
    distance_um: Floats = np.hypot(right - along * edge[0], down - along * edge[1])
    return distance_um


@dataclass(frozen=True, slots=True, kw_only=True)
class DropMask(Mask):
    """A drop: a clear cap that bends light, perhaps dirty and absorbing as well.

    Parameters
    ----------
    outline : Outline
        Edge of the drop.
    contact_deg : float
        Angle between glass and drop at its edge [deg]; 0 leaves a film without a lens.
    opacity : float
        Share of the light absorbed in the middle (0-1).
    """

    outline: Outline
    contact_deg: float
    opacity: float = 0.0

    @property
    def reach_um(self) -> tuple[float, float]:
        """Half width and half height of the box that holds the mark [um]."""
        return (self.outline.reach_um, self.outline.reach_um)

    @property
    def scale_um(self) -> float:
        """Diameter, or the finest fringe the cap makes, whichever is less [um]."""
        return self.outline.diameter_um

    @property
    def is_lens(self) -> bool:
        """Whether the mark bends light."""
        return self.contact_deg > 0.0

    def paint(self, right_um: Floats, down_um: Floats, cell_um: float) -> Paint:
        """Return what passes through cells `cell_um` wide with these centres."""
        inside_um = self.outline.inside_um(right_um, down_um)
        if not self.is_lens:
            return film_paint(covered_share(inside_um, cell_um), self.opacity)
        radius_um = 0.5 * self.outline.diameter_um
        off_um = np.maximum(radius_um - np.maximum(inside_um, 0.0), 0.0)
        tilt = math.radians(self.contact_deg)
        ball_um = radius_um / math.sin(tilt)
        height_um = np.sqrt(np.maximum(ball_um**2 - off_um**2, 0.0)) - ball_um * math.cos(tilt)
        # A thinner edge absorbs less: absorbance follows the cap's height.
        filling = np.clip(1.0 - (off_um / radius_um) ** 2, 0.0, 1.0)
        intensity = (1.0 - self.opacity) ** filling
        return Paint(
            amplitude=np.sqrt(intensity),
            intensity=intensity,
            delay_um=WATER_INDEX_MINUS_1 * np.maximum(height_um, 0.0),
        )
