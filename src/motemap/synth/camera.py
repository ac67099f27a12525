"""From light to stored numbers: photosites, noise, defects, black level, curve, 8 bits."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from motemap.errors import SettingsError
from motemap.facts import srgb

LightPlane = NDArray[np.float32]
Codes = NDArray[np.uint8] | NDArray[np.uint16]
Curve = Literal["srgb", "steep"]

ISO_OF_FULL_WELL = 100.0
QUANTISING_VARIANCE = 1.0 / 12.0
STEEP_GAMMA, STEEP_SHOULDER = 1.25, 0.35
LUT_SIZE = 65536
EIGHT_BITS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSpec:
    """What the photosites and the read-out add.

    Parameters
    ----------
    iso : float
        Sensitivity; full well is reached at clipping at ISO 100.
    full_well_e : float
        Electrons at clipping at ISO 100.
    read_noise_e : float
        Noise of the read-out [electrons].
    prnu_frac : float
        Standard deviation of the photosites' response.
    n_hot, n_dead, n_clusters : int
        Bright and dark single pixels, and clusters of 2 to 4 of either.
    phase_frac, phase_period_px : float, int
        Response of phase-detect photosites less 1, and the period of their rows [px].
    black, white : int
        Stored levels of darkness and of clipping.
    colour_levels : tuple of float
        Response of red, green and blue photosites to the field, green being 1.
    """

    iso: float = 100.0
    full_well_e: float = 50000.0
    read_noise_e: float = 3.0
    prnu_frac: float = 0.004
    n_hot: int = 0
    n_dead: int = 0
    n_clusters: int = 0
    phase_frac: float = 0.0
    phase_period_px: int = 12
    black: int = 512
    white: int = 16383
    colour_levels: tuple[float, float, float] = (0.62, 1.0, 0.78)

    @property
    def electrons(self) -> float:
        """Electrons at clipping at this sensitivity."""
        return self.full_well_e * ISO_OF_FULL_WELL / self.iso


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureSpec:
    """How the camera cooks a picture from its photosites.

    Parameters
    ----------
    curve : {"srgb", "steep"}
        Tone curve: the plain sRGB one, or a camera's steeper one with a shoulder.
    smoothing_px : float
        Gaussian sigma of demosaicing and noise reduction [px].
    sharpening_frac : float
        Strength of the unsharp mask (0 for none).
    shrink : int
        The picture is reduced by this whole factor.
    cast : tuple of float
        Level of red, green and blue of the grey field.
    bits : {8, 16}
        Bits of a sample.
    """

    curve: Curve = "srgb"
    smoothing_px: float = 0.7
    sharpening_frac: float = 0.0
    shrink: int = 1
    cast: tuple[float, float, float] = (1.0, 0.985, 0.95)
    bits: Literal[8, 16] = 8

    def __post_init__(self) -> None:
        if self.shrink < 1:
            raise SettingsError(
                f"A picture cannot be shrunk by {self.shrink}.", repair="Give 1 or more."
            )


def expose(light: LightPlane, sensor: SensorSpec, rng: np.random.Generator) -> LightPlane:
    """Return what photosites read: response, shot and read noise, defects; 1 is clipping.

    Parameters
    ----------
    light : (H, W) float32
        Linear light on one colour's or on mixed photosites; consumed.
    sensor : SensorSpec
        What is added.
    rng : numpy.random.Generator
        Source of noise and defects.
    """
    response, noise, defects = rng.spawn(3)
    if sensor.prnu_frac > 0.0:
        light *= 1.0 + np.float32(sensor.prnu_frac) * response.standard_normal(
            light.shape, dtype=np.float32
        )
    if sensor.phase_frac != 0.0:
        step = sensor.phase_period_px
        light[step // 2 :: step, 1::4] *= np.float32(1.0 + sensor.phase_frac)
    electrons = sensor.electrons
    spread = np.sqrt(
        light * np.float32(1.0 / electrons) + np.float32((sensor.read_noise_e / electrons) ** 2)
    )
    light += spread * noise.standard_normal(light.shape, dtype=np.float32)
    _spoil(light, sensor, defects)
    return light


def noise_of(light: LightPlane, sensor: SensorSpec) -> LightPlane:
    """Return the standard deviation of one photosite as a share of its light."""
    electrons = light * np.float32(sensor.electrons)
    noise: LightPlane = np.sqrt(
        1.0 / electrons
        + np.float32(sensor.read_noise_e**2) / electrons**2
        + np.float32(sensor.prnu_frac**2)
    )
    return noise


def _spoil(light: LightPlane, sensor: SensorSpec, rng: np.random.Generator) -> None:
    """Put hot and dead pixels and small clusters of either into the plane."""
    height_px, width_px = light.shape
    for count, is_hot in ((sensor.n_hot, True), (sensor.n_dead, False)):
        rows, cols = rng.integers(height_px, size=count), rng.integers(width_px, size=count)
        if is_hot:
            light[rows, cols] += rng.uniform(0.1, 1.2, size=count).astype(np.float32)
        else:
            light[rows, cols] *= rng.uniform(0.0, 0.7, size=count).astype(np.float32)
    for _ in range(sensor.n_clusters):
        row, col = int(rng.integers(height_px - 1)), int(rng.integers(width_px - 1))
        factor = rng.choice([rng.uniform(0.1, 0.6), rng.uniform(1.3, 2.0)])
        for _ in range(int(rng.integers(2, 5))):
            light[row + int(rng.integers(2)), col + int(rng.integers(2))] *= np.float32(factor)


def digitise(light: LightPlane, sensor: SensorSpec) -> NDArray[np.uint16]:
    """Return stored raw values: black level added, rounded, clipped."""
    span = sensor.white - sensor.black
    codes = np.rint(light * np.float32(span) + np.float32(sensor.black))
    stored: NDArray[np.uint16] = np.clip(codes, 0, sensor.white).astype(np.uint16)
    return stored


def srgb_encode(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return sRGB values for linear light, both 0-1."""
    low = srgb.TOE_SLOPE * light
    root = np.maximum(light, srgb.TOE_LIGHT) ** (1.0 / srgb.EXPONENT)
    high = (1.0 + srgb.OFFSET) * root - srgb.OFFSET
    encoded: NDArray[np.float64] = np.where(light <= srgb.TOE_LIGHT, low, high)
    return encoded


def curve_value(light: NDArray[np.float64], curve: Curve) -> NDArray[np.float64]:
    """Return the picture's value for linear light, both 0-1."""
    value = srgb_encode(light)
    if curve == "srgb":
        return value
    # Steeper in the middle, flatter near white, as cameras' own styles are.
    bent = value**STEEP_GAMMA
    shoulder: NDArray[np.float64] = bent * (1.0 + STEEP_SHOULDER) / (1.0 + STEEP_SHOULDER * bent)
    return shoulder


def develop(channel: LightPlane, picture: PictureSpec) -> LightPlane:
    """Return one colour smoothed, sharpened and shrunk as the camera would, linear light."""
    if picture.smoothing_px > 0.0:
        channel = ndimage.gaussian_filter(channel, picture.smoothing_px, truncate=3.0)
    if picture.sharpening_frac > 0.0:
        soft = ndimage.gaussian_filter(channel, 1.5, truncate=3.0)
        channel = channel + np.float32(picture.sharpening_frac) * (channel - soft)
    if picture.shrink == 1:
        return channel
    step = picture.shrink
    rows, cols = (side // step for side in channel.shape)
    blocks = channel[: rows * step, : cols * step].reshape(rows, step, cols, step)
    shrunk: LightPlane = blocks.mean(axis=(1, 3), dtype=np.float32)
    return shrunk


def encode(channel: LightPlane, picture: PictureSpec) -> Codes:
    """Return stored picture codes for linear light."""
    table = curve_value(np.arange(LUT_SIZE) / (LUT_SIZE - 1), picture.curve)
    index = np.clip(channel * np.float32(LUT_SIZE - 1) + np.float32(0.5), 0, LUT_SIZE - 1)
    codes = np.rint(table * (2**picture.bits - 1)).astype(np.uint16)
    places = index.astype(np.uint16)
    if picture.bits == EIGHT_BITS:
        small: NDArray[np.uint8] = codes.astype(np.uint8)[places]
        return small
    large: NDArray[np.uint16] = codes[places]
    return large


def code_noise_frac(light: float, picture: PictureSpec) -> float:
    """Return the rounding noise of one code as a share of the light it stands for."""
    around = np.array([light * 0.999, light * 1.001])
    low, high = curve_value(around, picture.curve) * (2**picture.bits - 1)
    codes_per_frac = (high - low) / 0.002
    return math.sqrt(QUANTISING_VARIANCE) / float(codes_per_frac)
