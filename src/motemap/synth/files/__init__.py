"""Writes test pictures with Exif: raw (DNG), JPEG, TIFF and PNG, bit for bit."""

from motemap.synth.files.dng import Cfa, Compression, RawLayout, cfa_pattern, write_dng
from motemap.synth.files.pictures import Subsampling, write_jpeg, write_png, write_tiff
from motemap.synth.files.profile import gamma_profile
from motemap.synth.files.tags import FileTags

__all__ = [
    "Cfa",
    "Compression",
    "FileTags",
    "RawLayout",
    "Subsampling",
    "cfa_pattern",
    "gamma_profile",
    "write_dng",
    "write_jpeg",
    "write_png",
    "write_tiff",
]
