"""What a camera writes of a shot, with nothing left out."""

from motemap.synth.files import FileTags

FULL = FileTags(
    maker="Norrland Optik",
    model="Ratal 3",
    serial="NL-00417",
    lens="Ratal 50mm f/2",
    f_number=22.0,
    iso=100,
    shutter_s=1 / 250,
    focal_length_mm=50.0,
    taken_at="2025-03-14T09:26:53+02:00",
    orientation=6,
    focal_plane_pitch_um=4.35,
    focal_length_35mm=75.0,
)
