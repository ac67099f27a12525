"""What a test picture says about its camera."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FileTags:
    """Metadata to write into a test picture; None leaves the tag out.

    Parameters
    ----------
    maker, model, serial, lens : str or None
        Body and lens.
    f_number : float or None
        Aperture.
    iso : int or None
        Sensitivity.
    shutter_s : float or None
        Exposure time [s].
    focal_length_mm, focal_length_35mm : float or None
        Focal length and its 35 mm equivalent [mm].
    taken_at : str or None
        ISO 8601, with or without a zone.
    orientation : int or None
        Exif orientation, 1-8.
    focal_plane_pitch_um : float or None
        Pixel distance on the sensor [um], written as FocalPlaneXResolution per centimetre.
    """

    maker: str | None = None
    model: str | None = None
    serial: str | None = None
    lens: str | None = None
    f_number: float | None = None
    iso: int | None = None
    shutter_s: float | None = None
    focal_length_mm: float | None = None
    taken_at: str | None = None
    orientation: int | None = 1
    focal_plane_pitch_um: float | None = None
    focal_length_35mm: float | None = None
