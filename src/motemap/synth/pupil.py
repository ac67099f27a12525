"""What the shadow's light comes from: a pupil with straight blades, and a white spectrum."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from motemap.errors import SettingsError

Floats = NDArray[np.float64]

MIN_BLADES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """A spectrum in a few lines, and how much each colour channel sees of each.

    Parameters
    ----------
    wavelengths_um : tuple of float
        Wavelengths in air [um].
    weights : tuple of tuple of float
        One row a channel, one weight a wavelength; each row adds up to 1.
    """

    wavelengths_um: tuple[float, ...]
    weights: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        for row in self.weights:
            if len(row) != len(self.wavelengths_um) or not math.isclose(sum(row), 1.0):
                raise SettingsError(
                    f"Weights {row} do not fit {len(self.wavelengths_um)} wavelengths.",
                    repair="Give one weight a wavelength, adding up to 1.",
                )

    @property
    def n_channels(self) -> int:
        """Number of colour channels."""
        return len(self.weights)


WHITE = Spectrum(
    wavelengths_um=(0.430, 0.463, 0.496, 0.529, 0.561, 0.594, 0.627, 0.660),
    weights=((0.125,) * 8,),
)
"""Even white light from 430 to 660 nm, one channel."""

RGB = Spectrum(
    wavelengths_um=(0.440, 0.475, 0.515, 0.550, 0.595, 0.635),
    weights=(
        (0.0, 0.0, 0.0, 0.1, 0.5, 0.4),
        (0.0, 0.1, 0.4, 0.4, 0.1, 0.0),
        (0.5, 0.4, 0.1, 0.0, 0.0, 0.0),
    ),
)
"""Red, green and blue of an ordinary mosaic: common practice, no source."""

WHITE_OF_RGB = (0.25, 0.5, 0.25)
"""Share of red, green and blue photosites in a 2x2 mosaic."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pupil:
    """The shape of the blur: a regular polygon, or a disc.

    Parameters
    ----------
    n_blades : int
        Number of straight edges; 0 for a round opening.
    rotation_deg : float
        Turn of the first corner from the picture's right-hand direction [deg].
    """

    n_blades: int = 7
    rotation_deg: float = 0.0

    def __post_init__(self) -> None:
        if self.n_blades != 0 and self.n_blades < MIN_BLADES:
            raise SettingsError(
                f"A pupil with {self.n_blades} blades cannot be drawn.",
                repair="Give 3 or more blades, or 0 for a round opening.",
            )

    @property
    def reach_frac(self) -> float:
        """Largest distance from the middle, as a share of the radius of the equal disc."""
        if self.n_blades == 0:
            return 1.0
        return 1.0 / math.sqrt(self._area_of_unit_circumcircle() / math.pi)

    def _area_of_unit_circumcircle(self) -> float:
        return 0.5 * self.n_blades * math.sin(2.0 * math.pi / self.n_blades)

    def corners_um(self, blur_um: float) -> Floats:
        """Return the corners of the polygon with the area of a disc `blur_um` across.

        Returns
        -------
        (n_blades, 2) float64
            Right and down [um].
        """
        angles = math.radians(self.rotation_deg) + (
            2.0 * math.pi * np.arange(self.n_blades) / self.n_blades
        )
        reach_um = 0.5 * blur_um * self.reach_frac
        return np.stack([reach_um * np.cos(angles), reach_um * np.sin(angles)], axis=1)


@lru_cache(maxsize=16)
def blur_transfer(
    pupil: Pupil, blur_um: float, pitch_um: float, shape: tuple[int, int], step_um: float
) -> NDArray[np.complex64]:
    """Fourier transform of pupil and square pixel together, both of unit volume.

    Parameters
    ----------
    pupil : Pupil
        Shape of the opening.
    blur_um : float
        Diameter of the disc with the pupil's area, projected on the sensor [um].
    pitch_um : float
        Side of the pixel [um].
    shape : tuple of int
        Rows and columns of the fine grid.
    step_um : float
        Distance of grid points [um].

    Returns
    -------
    (rows, cols // 2 + 1) complex64
        Transfer on the frequencies of a real FFT, read-only.

    Notes
    -----
    Both transforms are closed forms, so neither shape is ever sampled.
    """
    down = np.asarray(np.fft.fftfreq(shape[0], step_um), dtype=np.float64)[:, None]
    right = np.asarray(np.fft.rfftfreq(shape[1], step_um), dtype=np.float64)[None, :]
    pixel = np.sinc(down * pitch_um) * np.sinc(right * pitch_um)
    shape_part = (
        _disc_transfer(blur_um, right, down)
        if pupil.n_blades == 0
        else _polygon_transfer(pupil.corners_um(blur_um), right, down)
    )
    transfer: NDArray[np.complex64] = (pixel * shape_part).astype(np.complex64)
    transfer.setflags(write=False)
    return transfer


def _disc_transfer(blur_um: float, right: Floats, down: Floats) -> NDArray[np.complex128]:
    """Transform of a disc of unit volume: 2 J1(a) / a with a = pi B f."""
    argument = math.pi * blur_um * np.hypot(right, down)
    argument[0, 0] = 1.0
    transfer = 2.0 * special.j1(argument) / argument
    transfer[0, 0] = 1.0
    return transfer.astype(np.complex128)


def _polygon_transfer(corners_um: Floats, right: Floats, down: Floats) -> NDArray[np.complex128]:
    """Transform of a polygon of unit volume, from the divergence theorem over its edges."""
    k_right, k_down = 2.0 * math.pi * right, 2.0 * math.pi * down
    k_squared = k_right**2 + k_down**2
    k_squared[0, 0] = 1.0
    total = np.zeros(k_squared.shape, dtype=np.complex128)
    ends = np.roll(corners_um, -1, axis=0)
    for start, end in zip(corners_um, ends, strict=True):
        edge, middle = end - start, 0.5 * (start + end)
        outward = k_right * edge[1] - k_down * edge[0]
        half_turn = (k_right * edge[0] + k_down * edge[1]) / (2.0 * math.pi)
        phase = np.exp(-1j * k_right * middle[0]) * np.exp(-1j * k_down * middle[1])
        total += outward * np.sinc(half_turn) * phase
    cross = corners_um[:, 0] * ends[:, 1] - corners_um[:, 1] * ends[:, 0]
    transfer: NDArray[np.complex128] = 1j * total / k_squared / (0.5 * cross.sum())
    transfer[0, 0] = 1.0
    return transfer
