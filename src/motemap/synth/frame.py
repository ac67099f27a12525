"""Draws a whole test frame of known dust from one record and one seed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motemap.coords import UM_PER_MM
from motemap.synth import camera
from motemap.synth.camera import Codes, SensorSpec
from motemap.synth.files import cfa_pattern
from motemap.synth.marks import Mark
from motemap.synth.pupil import WHITE_OF_RGB
from motemap.synth.scatter import Field, scatter_marks
from motemap.synth.scene import draw_scene
from motemap.synth.shadow import Shadow, ShadowOptics, cast_shadow
from motemap.synth.spec import FrameSpec
from motemap.synth.truth import SeenShadow, TrueMark, look_of, particle_um, whiten

N_COLOURS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnFrame:
    """A frame with its truth.

    Parameters
    ----------
    spec : FrameSpec
        What it was drawn from.
    codes : (H, W) or (H, W, 3) uint8 or uint16
        Stored values.
    marks : tuple of TrueMark
        All marks, in the order they were laid.
    noise_frac : float
        Noise of one stored-size photosite in the middle of the frame as a share of the light,
        before smoothing.
    """

    spec: FrameSpec
    codes: Codes
    marks: tuple[TrueMark, ...]
    noise_frac: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cast:
    """A shadow on the photosites with all that is known before the light is."""

    mark: Mark
    loss: NDArray[np.float32]
    top_px: int
    left_px: int
    lost_area_um2: float
    look: SeenShadow


def make_marks(spec: FrameSpec) -> tuple[Mark, ...]:
    """Return the marks that `draw_frame` strews when it is given none."""
    place = Field(
        height_px=spec.height_px, width_px=spec.width_px, tau_um=spec.stack_mm * UM_PER_MM
    )
    return scatter_marks(spec.mix, place, np.random.default_rng([spec.seed, 1]))


def draw_frame(spec: FrameSpec, marks: tuple[Mark, ...] | None = None) -> DrawnFrame:
    """Draw a frame.

    Parameters
    ----------
    spec : FrameSpec
        What to draw.
    marks : tuple of Mark, optional
        Marks to lay instead of the random ones of ``spec.mix``; their distances are their own.

    Returns
    -------
    DrawnFrame
        Stored values and truth.
    """
    laid = make_marks(spec) if marks is None else marks
    casts = [_cast(mark, spec) for mark in laid]
    scene_rng, noise_rng = np.random.default_rng([spec.seed, 2]).spawn(2)
    scene = draw_scene(spec.scene, spec.height_px, spec.width_px, scene_rng)
    if spec.is_colour:
        codes, snrs, noise_frac = _draw_colours(scene, casts, spec, noise_rng)
    else:
        codes, snrs, noise_frac = _draw_mosaic(scene, casts, spec, noise_rng)
    if spec.file.is_turned:
        codes = _turned(codes)
    truth = tuple(
        _true_mark(number, cast, snr, spec)
        for number, (cast, snr) in enumerate(zip(casts, snrs, strict=True), start=1)
    )
    return DrawnFrame(spec=spec, codes=codes, marks=truth, noise_frac=noise_frac)


def _turned(codes: Codes) -> Codes:
    """Return the picture turned clockwise by a quarter."""
    turned: Codes = np.rot90(codes, -1).copy()
    return turned


def _cast(mark: Mark, spec: FrameSpec) -> _Cast:
    optics = ShadowOptics(
        pitch_um=spec.pitch_um, f_number=spec.f_number, tau_um=mark.tau_um, pupil=spec.pupil
    )
    shadow = cast_shadow(mark.mask, optics, row_px=mark.row_px, col_px=mark.col_px)
    loss, top_px, left_px = _inside(shadow, spec)
    return _Cast(
        mark=mark,
        loss=loss,
        top_px=top_px,
        left_px=left_px,
        lost_area_um2=shadow.lost_area_um2,
        look=look_of(shadow, mark, spec.shrink),
    )


def _inside(shadow: Shadow, spec: FrameSpec) -> tuple[NDArray[np.float32], int, int]:
    """Return the part of a shadow that falls on the frame."""
    rows, cols = shadow.loss.shape[1:]
    top, left = max(shadow.top_px, 0), max(shadow.left_px, 0)
    bottom = max(min(shadow.top_px + rows, spec.height_px), top)
    right = max(min(shadow.left_px + cols, spec.width_px), left)
    part = shadow.loss[
        :,
        top - shadow.top_px : bottom - shadow.top_px,
        left - shadow.left_px : right - shadow.left_px,
    ]
    return part.copy(), top, left


def _window(plane: NDArray[np.float32], cast: _Cast) -> NDArray[np.float32]:
    rows, cols = cast.loss.shape[1:]
    return plane[cast.top_px : cast.top_px + rows, cast.left_px : cast.left_px + cols]


def _draw_mosaic(
    light: NDArray[np.float32], casts: list[_Cast], spec: FrameSpec, rng: np.random.Generator
) -> tuple[Codes, list[float], float]:
    """Draw one value a photosite, each seeing its own colour."""
    pattern = cfa_pattern(spec.file.mosaic)
    is_grey = spec.file.mosaic == "MONO"
    if not is_grey:
        levels = np.asarray(spec.sensor.colour_levels, dtype=np.float32)
        _multiply_tiled(light, levels[pattern])
    snrs = []
    for cast in casts:
        seen = whiten(cast.loss) if is_grey else _pick_colours(cast, pattern)
        part = _window(light, cast)
        snrs.append(_snr(seen, camera.noise_of(part, spec.sensor)))
        part *= 1.0 - seen
    noise_frac = _middle_noise(light, spec)
    exposed = camera.expose(light, spec.sensor, rng)
    return camera.digitise(exposed, spec.sensor), snrs, noise_frac


def _multiply_tiled(light: NDArray[np.float32], levels: NDArray[np.float32]) -> None:
    """Multiply the plane by a small pattern that repeats."""
    rows, cols = levels.shape
    for row in range(rows):
        for col in range(cols):
            light[row::rows, col::cols] *= levels[row, col]


def _pick_colours(cast: _Cast, pattern: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return the loss that each photosite sees through its own filter."""
    rows = (cast.top_px + np.arange(cast.loss.shape[1])) % pattern.shape[0]
    cols = (cast.left_px + np.arange(cast.loss.shape[2])) % pattern.shape[1]
    index = pattern[rows[:, None], cols[None, :]].astype(np.intp)
    picked: NDArray[np.float32] = np.take_along_axis(cast.loss, index[None], axis=0)[0]
    return picked


def _snr(loss: NDArray[np.float32], noise_frac: NDArray[np.float32]) -> float:
    """Signal to noise of the filter that knows shape and noise."""
    return float(np.sqrt(np.square(loss / noise_frac, dtype=np.float64).sum()))


def _middle_noise(light: NDArray[np.float32], spec: FrameSpec) -> float:
    row, col = spec.height_px // 2, spec.width_px // 2
    middle = light[row - 8 : row + 8, col - 8 : col + 8]
    return float(np.median(camera.noise_of(middle, spec.sensor)))


def _draw_colours(
    scene: NDArray[np.float32], casts: list[_Cast], spec: FrameSpec, rng: np.random.Generator
) -> tuple[Codes, list[float], float]:
    """Draw all three colours at every pixel, one after another to save memory."""
    snrs = [_picture_snr(cast, scene, spec) for cast in casts]
    noise_frac = _middle_noise(scene, spec)
    levels = spec.picture.cast if spec.is_picture else spec.sensor.colour_levels
    planes: list[Codes] = []
    for channel, stream in enumerate(rng.spawn(N_COLOURS)):
        light = scene * np.float32(levels[channel])
        for cast in casts:
            part = _window(light, cast)
            part *= 1.0 - cast.loss[channel]
        exposed = camera.expose(light, _thinned(spec.sensor, WHITE_OF_RGB[channel]), stream)
        if spec.is_picture:
            planes.append(camera.encode(camera.develop(exposed, spec.picture), spec.picture))
        else:
            planes.append(camera.digitise(exposed, spec.sensor))
    return _stacked(planes), snrs, noise_frac


def _stacked(planes: list[Codes]) -> Codes:
    height_px, width_px = planes[0].shape
    codes: Codes = np.empty((height_px, width_px, len(planes)), dtype=planes[0].dtype)
    for channel, plane in enumerate(planes):
        codes[:, :, channel] = plane
    return codes


def _thinned(sensor: SensorSpec, share: float) -> SensorSpec:
    """Return photosites of one colour, spread over all pixels as demosaicing does.

    A colour with a quarter of the photosites has a quarter of the light a pixel.
    """
    return SensorSpec(
        iso=sensor.iso,
        full_well_e=sensor.full_well_e * share,
        read_noise_e=sensor.read_noise_e * share**0.5,
        prnu_frac=sensor.prnu_frac / share**0.5,
        n_hot=round(sensor.n_hot * share),
        n_dead=round(sensor.n_dead * share),
        n_clusters=round(sensor.n_clusters * share),
        phase_frac=sensor.phase_frac,
        phase_period_px=sensor.phase_period_px,
        black=sensor.black,
        white=sensor.white,
    )


def _picture_snr(cast: _Cast, scene: NDArray[np.float32], spec: FrameSpec) -> float:
    """Signal to noise in a picture: the photosites' noise and that of rounding to codes."""
    part = _window(scene, cast)
    if part.size == 0:
        return 0.0
    noise_frac = camera.noise_of(part, spec.sensor)
    if spec.is_picture:
        rounding = camera.code_noise_frac(float(np.median(part)), spec.picture) * spec.shrink
        noise_frac = np.sqrt(noise_frac**2 + np.float32(rounding**2 / N_COLOURS))
    return _snr(whiten(cast.loss), noise_frac)


def _true_mark(number: int, cast: _Cast, snr: float, spec: FrameSpec) -> TrueMark:
    mark = cast.mark
    row_px, col_px = ((at_px + 0.5) / spec.shrink - 0.5 for at_px in (mark.row_px, mark.col_px))
    if spec.file.is_turned:
        row_px, col_px = col_px, spec.height_px // spec.shrink - 1.0 - row_px
    return TrueMark(
        id=number,
        kind=mark.kind,
        form=mark.form,
        layer=mark.layer,
        image_x_px=col_px,
        image_y_px=row_px,
        from_left_mm=(mark.col_px + 0.5) * spec.pitch_um / UM_PER_MM,
        from_top_mm=(spec.height_px - mark.row_px - 0.5) * spec.pitch_um / UM_PER_MM,
        depth_frac=cast.look.depth_frac,
        gain_frac=cast.look.gain_frac,
        snr=snr,
        width_um=cast.look.width_um,
        length_um=mark.length_um,
        size_um=mark.size_um,
        lost_area_um2=cast.lost_area_um2,
        particle_um=particle_um(mark, cast.lost_area_um2),
        stack_mm=mark.tau_um / UM_PER_MM,
    )
