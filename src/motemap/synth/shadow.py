"""The shadow of a mark on the filter stack, by wave optics.

A mark is a thin mask on the outer face. For every wavelength its field is carried over the
air-equivalent distance to the photosites (Fresnel), squared to intensity, blurred by the
pupil - light from another part of the pupil only shifts the pattern - and averaged over
pixels. The f-number is used as given: f/22 means 22, not the exact 22.63.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from motemap.errors import SettingsError
from motemap.synth.masks import Mask, Paint
from motemap.synth.pupil import RGB, Pupil, Spectrum, blur_transfer

STEP_PER_F_UM = 0.1
"""Grid step for a given f-number [um]: the pupil takes in angles up to 1/(2N), whose detail
is 2 N lambda; some ten steps must span it."""
STEP_PER_F_FAR_UM, FAR_STEP_PER_ZONE = 0.2, 0.03
"""The same for marks so far off that the Fresnel zone is wide, and the limit by that zone."""
STEP_PER_ZONE = 0.12
"""Largest grid step in radii of the first Fresnel zone, for marks near the photosites."""
LENS_STEP_FRAC = 0.6
"""A steep drop turns the phase once within a few micrometres."""
SMALLEST_STEP_UM = 0.4
ROOM_BLURS, ROOM_ZONES, ROOM_SIZES = 1.0, 3.0, 0.75
"""Room round a mark, in blurs, in radii of the first Fresnel zone, and in its own sizes: the
light that a large mark throws wide must have faded where its window ends."""
LARGEST_ROOM_ZONES = 8.0
HALO_WIDTHS, LARGEST_HALO_BLURS = 1.5, 2.0
"""Room for the light a small mark throws wide: in lambda tau over its size, and in blurs."""
MIDDLE_WAVELENGTH_UM = 0.55
SUBCELLS_ACROSS_DETAIL = 16.0
LARGEST_SUBDIVISION = 8
SUBDIVISION_OF_LENS = 4
"""A drop bends light: its phase turns within a cell, so it is sampled more finely."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadowOptics:
    """Everything between the mark and the pixels.

    Parameters
    ----------
    pitch_um : float
        Distance of pixel centres [um].
    f_number : float
        Aperture; used as given.
    tau_um : float
        Air-equivalent distance from mark to photosites [um].
    pupil : Pupil
        Shape of the opening, with the area of a disc `tau_um / f_number` across.
    light : Spectrum
        Spectrum and colour channels.
    """

    pitch_um: float
    f_number: float
    tau_um: float
    pupil: Pupil = field(default_factory=Pupil)
    light: Spectrum = RGB

    def __post_init__(self) -> None:
        for name in ("pitch_um", "f_number", "tau_um"):
            if not 0.0 < getattr(self, name) < math.inf:
                raise SettingsError(
                    f"{name} = {getattr(self, name)} is out of range.",
                    repair="Give a number above 0.",
                )

    @property
    def blur_um(self) -> float:
        """Diameter of the disc with the pupil's shadow area [um]."""
        return self.tau_um / self.f_number


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shadow:
    """What a mark takes from the light, pixel by pixel.

    Parameters
    ----------
    loss : (C, h, w) float32
        Share of the light lost, by colour channel; negative where light is gained.
    top_px, left_px : int
        Frame position of `loss[:, 0, 0]`.
    fine_loss : (C, h * k, w * k) float32
        The same pixels-wide average on a grid `k` times finer.
    fine_step_um : float
        Distance of the points of `fine_loss` [um].
    lost_area_um2 : float
        Light stopped by the mark as an area: the sum of the loss over an endless window [um2].
    """

    loss: NDArray[np.float32]
    top_px: int
    left_px: int
    fine_loss: NDArray[np.float32]
    fine_step_um: float
    lost_area_um2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Window:
    """Where the grid lies: `n_fine` points a pixel, or one point every `n_coarse` pixels."""

    rows: int
    cols: int
    n_fine: int
    n_coarse: int
    top_px: int
    left_px: int
    step_um: float

    def offsets_um(self, count: int, first_px: int, centre_px: float) -> NDArray[np.float64]:
        """Distance of grid points from the mark's centre along one side [um]."""
        pitch_um = self.step_um * self.n_fine / self.n_coarse
        return (first_px - centre_px) * pitch_um + self.step_um * np.arange(count, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sampled:
    """A mask on the sub-cells of the grid cells that it touches."""

    paint: Paint
    n_sub: int
    first_row: int
    first_col: int


def cast_shadow(mask: Mask, optics: ShadowOptics, *, row_px: float, col_px: float) -> Shadow:
    """Draw the shadow of one mark.

    Parameters
    ----------
    mask : Mask
        The mark, about its own centre.
    optics : ShadowOptics
        Aperture, distance, pixels and light.
    row_px, col_px : float
        Where the mark's centre falls in the frame, whole numbers at pixel centres [px].

    Returns
    -------
    Shadow
        Loss on the pixels round the mark; the window may reach beyond the frame.

    Notes
    -----
    With ``S = 1 - t`` for a mask of transmission ``t`` (Babinet) and ``P`` the propagated `S`,
    the loss is ``2 Re P - |P|^2``. `S` is averaged over grid cells, which leaves the first
    term exact but takes from the second the light thrown wider than the grid can carry; that
    part is put back as a wide halo, so that the whole loss is ``sum(1 - |t|^2)``.
    """
    window = _lay_window(mask, optics, row_px, col_px)
    sampled = _sample(mask, window, row_px, col_px)
    spectrum = _loss_spectrum(sampled, optics, window)
    fine_loss = fft.irfft2(spectrum, s=(window.rows, window.cols), axes=(1, 2))
    subcell_um2 = (window.step_um / sampled.n_sub) ** 2
    return Shadow(
        loss=_to_pixels(spectrum, fine_loss, window),
        top_px=window.top_px,
        left_px=window.left_px,
        fine_loss=fine_loss,
        fine_step_um=window.step_um,
        lost_area_um2=float((1.0 - sampled.paint.intensity).sum()) * subcell_um2,
    )


def _lay_window(mask: Mask, optics: ShadowOptics, row_px: float, col_px: float) -> _Window:
    zone_um = math.sqrt(MIDDLE_WAVELENGTH_UM * optics.tau_um)
    widest_um = _widest_step_um(mask, optics.f_number, zone_um)
    n_fine = max(1, math.ceil(optics.pitch_um / widest_um))
    n_coarse = max(1, math.floor(widest_um / optics.pitch_um))
    cell_um = n_coarse * optics.pitch_um
    halo_um = min(HALO_WIDTHS * zone_um**2 / mask.scale_um, LARGEST_HALO_BLURS * optics.blur_um)
    wide_um = min(ROOM_SIZES * mask.scale_um, LARGEST_ROOM_ZONES * zone_um)
    room_um = ROOM_BLURS * optics.blur_um + ROOM_ZONES * zone_um + max(halo_um, wide_um)
    half_width, half_height = (
        math.ceil((reach_um + room_um) / cell_um) + 1 for reach_um in mask.reach_um
    )
    n_rows, n_cols = fft.next_fast_len(2 * half_height), fft.next_fast_len(2 * half_width)
    return _Window(
        rows=n_rows * n_fine,
        cols=n_cols * n_fine,
        n_fine=n_fine,
        n_coarse=n_coarse,
        top_px=round(row_px) - (n_rows // 2) * n_coarse,
        left_px=round(col_px) - (n_cols // 2) * n_coarse,
        step_um=cell_um / n_fine,
    )


def _widest_step_um(mask: Mask, f_number: float, zone_um: float) -> float:
    """Largest grid step that draws the mark well [um]."""
    if mask.is_soft:
        return mask.scale_um / SUBCELLS_ACROSS_DETAIL
    far_um = min(STEP_PER_F_FAR_UM * f_number, FAR_STEP_PER_ZONE * zone_um)
    step_um = min(max(STEP_PER_F_UM * f_number, far_um), STEP_PER_ZONE * zone_um)
    if mask.is_lens:
        step_um *= LENS_STEP_FRAC
    return max(step_um, SMALLEST_STEP_UM)


def _sample(mask: Mask, window: _Window, row_px: float, col_px: float) -> _Sampled:
    """Evaluate the mask on sub-cells, so that every shape is sampled by area."""
    down_um = window.offsets_um(window.rows, window.top_px, row_px)
    right_um = window.offsets_um(window.cols, window.left_px, col_px)
    half_width_um, half_height_um = (reach + window.step_um for reach in mask.reach_um)
    rows = np.flatnonzero(np.abs(down_um) <= half_height_um)
    cols = np.flatnonzero(np.abs(right_um) <= half_width_um)
    n_sub = _subdivision(mask, window.step_um)
    paint = mask.paint(
        _split(right_um[cols], window.step_um, n_sub)[None, :],
        _split(down_um[rows], window.step_um, n_sub)[:, None],
        window.step_um / n_sub,
    )
    return _Sampled(
        paint=paint,
        n_sub=n_sub,
        first_row=int(rows[0]),
        first_col=int(cols[0]),
    )


def _subdivision(mask: Mask, step_um: float) -> int:
    wanted = math.ceil(step_um * SUBCELLS_ACROSS_DETAIL / mask.scale_um)
    least = SUBDIVISION_OF_LENS if mask.is_lens else 1
    return min(max(wanted, least), LARGEST_SUBDIVISION)


def _split(centres_um: NDArray[np.float64], step_um: float, n_sub: int) -> NDArray[np.float64]:
    """Centres of `n_sub` equal parts of each cell."""
    parts_um = ((np.arange(n_sub) + 0.5) / n_sub - 0.5) * step_um
    return (centres_um[:, None] + parts_um[None, :]).ravel()


def _loss_spectrum(
    sampled: _Sampled, optics: ShadowOptics, window: _Window
) -> NDArray[np.complex64]:
    """Spectrum of the loss in each channel, pupil and pixel already averaged over."""
    light = optics.light
    loss = np.zeros((light.n_channels, window.rows, window.cols), dtype=np.float32)
    spectrum: NDArray[np.complex64] | None = None
    thrown_cells = 0.0
    is_lens = sampled.paint.delay_um is not None
    halo = _wide_halo(sampled, optics, window)
    for index, wavelength_um in enumerate(light.wavelengths_um):
        if spectrum is None or is_lens:
            spectrum, thrown_cells = _field_spectrum(sampled, wavelength_um, window)
        field_part = fft.ifft2(spectrum * _carry(window, wavelength_um * optics.tau_um))
        one = 2.0 * field_part.real - (field_part.real**2 + field_part.imag**2)
        one -= np.float32(thrown_cells) * halo
        for channel, row in enumerate(light.weights):
            if row[index] > 0.0:
                loss[channel] += np.float32(row[index]) * one
    blur = blur_transfer(
        optics.pupil, optics.blur_um, optics.pitch_um, (window.rows, window.cols), window.step_um
    )
    blurred: NDArray[np.complex64] = fft.rfft2(loss, axes=(1, 2)) * blur
    return blurred


def _field_spectrum(
    sampled: _Sampled, wavelength_um: float, window: _Window
) -> tuple[NDArray[np.complex64], float]:
    """Spectrum of S = 1 - t on the grid, and the energy it lacks [cells]."""
    paint = sampled.paint
    passed = paint.amplitude
    if paint.delay_um is not None:
        passed = passed * np.exp((2j * math.pi / wavelength_um) * paint.delay_um)
    stopped = 1.0 - passed
    n_rows, n_cols = (side // sampled.n_sub for side in stopped.shape)
    cells = stopped.reshape(n_rows, sampled.n_sub, n_cols, sampled.n_sub).mean(axis=(1, 3))
    whole = float((1.0 - 2.0 * passed.real + paint.intensity).sum()) / sampled.n_sub**2
    field_plane = np.zeros((window.rows, window.cols), dtype=np.complex64)
    rows = slice(sampled.first_row, sampled.first_row + n_rows)
    cols = slice(sampled.first_col, sampled.first_col + n_cols)
    field_plane[rows, cols] = cells
    spectrum = fft.fft2(field_plane) / _cell_transfer(window)
    kept = float(np.square(np.abs(spectrum), dtype=np.float64).sum()) / spectrum.size
    return spectrum, max(whole - kept, 0.0)


def _cell_transfer(window: _Window) -> NDArray[np.float32]:
    """Return what averaging over grid cells does to the spectrum, so that it can be undone."""
    down = np.sinc(fft.fftfreq(window.rows)).astype(np.float32)
    right = np.sinc(fft.fftfreq(window.cols)).astype(np.float32)
    transfer: NDArray[np.float32] = down[:, None] * right[None, :]
    return transfer


def _wide_halo(sampled: _Sampled, optics: ShadowOptics, window: _Window) -> NDArray[np.float32]:
    """Where light thrown wider than the grid can carry falls: a soft hill of unit sum."""
    wavelengths_um = optics.light.wavelengths_um
    middle_um = sum(wavelengths_um) / len(wavelengths_um)
    widest_um = middle_um * optics.tau_um / (2.0 * window.step_um)
    hills = []
    for count, first, n_cells in (
        (window.rows, sampled.first_row, sampled.paint.intensity.shape[0]),
        (window.cols, sampled.first_col, sampled.paint.intensity.shape[1]),
    ):
        half_cells = 0.5 * n_cells / sampled.n_sub
        offsets = np.arange(count) - (first + half_cells - 0.5)
        spread = math.hypot(widest_um / window.step_um, half_cells)
        hill = np.exp(-0.5 * (offsets / spread) ** 2)
        hills.append((hill / hill.sum()).astype(np.float32))
    unit: NDArray[np.float32] = hills[0][:, None] * hills[1][None, :]
    return unit


def _carry(window: _Window, wavelength_tau_um2: float) -> NDArray[np.complex64]:
    """Fresnel transfer ``exp(-i pi lambda tau f^2)`` on the grid's frequencies."""
    down = np.exp(
        -1j * math.pi * wavelength_tau_um2 * fft.fftfreq(window.rows, window.step_um) ** 2
    )
    right = np.exp(
        -1j * math.pi * wavelength_tau_um2 * fft.fftfreq(window.cols, window.step_um) ** 2
    )
    transfer: NDArray[np.complex64] = (
        down.astype(np.complex64)[:, None] * right.astype(np.complex64)[None, :]
    )
    return transfer


def _to_pixels(
    spectrum: NDArray[np.complex64], fine_loss: NDArray[np.float32], window: _Window
) -> NDArray[np.float32]:
    """Take the loss at pixel centres; a coarse grid is filled in from its own spectrum."""
    if window.n_coarse == 1:
        return np.ascontiguousarray(fine_loss[:, :: window.n_fine, :: window.n_fine])
    rows, cols = window.rows * window.n_coarse, window.cols * window.n_coarse
    wide = np.zeros((spectrum.shape[0], rows, cols // 2 + 1), dtype=np.complex64)
    upper, half_cols = window.rows // 2, (window.cols + 1) // 2
    wide[:, :upper, :half_cols] = spectrum[:, :upper, :half_cols]
    lower = window.rows - upper - 1
    wide[:, rows - lower :, :half_cols] = spectrum[:, window.rows - lower :, :half_cols]
    filled: NDArray[np.float32] = fft.irfft2(wide, s=(rows, cols), axes=(1, 2))
    return filled * np.float32(window.n_coarse**2)
