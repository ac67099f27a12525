"""Several frames of one state -> one: dust stays, blemishes of the screen and noise do not."""

from motemap.burst.combine import combine_flats, noise_factor
from motemap.burst.group import are_alike, differences, group_bursts
from motemap.burst.light import LightFlat, lighten
from motemap.burst.marks import combine_reports
from motemap.burst.presence import least_times, times_on_lens, times_present

__all__ = [
    "LightFlat",
    "are_alike",
    "combine_flats",
    "combine_reports",
    "differences",
    "group_bursts",
    "least_times",
    "lighten",
    "noise_factor",
    "times_on_lens",
    "times_present",
]
