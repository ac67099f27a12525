"""Several frames of one state -> one: dust stays, blemishes of the screen and noise do not."""

from motemap.burst.combine import combine_flats
from motemap.burst.group import are_alike, group_bursts
from motemap.burst.marks import combine_reports
from motemap.burst.presence import times_present

__all__ = ["are_alike", "combine_flats", "combine_reports", "group_bursts", "times_present"]
