"""How many marks each of several frames has, and how many of them show, as columns of a table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from motemap.report.counted import OWN_SIGN, found_count, is_judged, own_sign, showing_count
from motemap.report.page.tables import Heading, cell
from motemap.showing import aperture_words, can_forecast

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.records import FrameReport
    from motemap.settings import WorkSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class CountColumns:
    """Two columns: marks found, and marks on the sensor that show.

    Parameters
    ----------
    headings : (Heading, Heading)
        The second says at which aperture.
    is_mixed : bool
        Whether frames with a forecast and without stand below one another.
    """

    headings: tuple[Heading, Heading]
    is_mixed: bool

    @classmethod
    def of(cls, reports: Iterable[FrameReport], work: WorkSettings) -> CountColumns:
        """Lay out the columns of some frames; what is not judged has no say in it."""
        told = {can_forecast(report) for report in reports if is_judged(report)}
        aperture = aperture_words(work, has_forecast=told != {False})
        is_mixed = len(told) > 1
        own = f" ({OWN_SIGN} {aperture_words(work, has_forecast=False)})" if is_mixed else ""
        marks = Heading(name="Marks", is_number=True)
        showing = Heading(name=f"Show at {aperture}{own}", is_number=True)
        return cls(headings=(marks, showing), is_mixed=is_mixed)

    def cells(self, report: FrameReport) -> str:
        """Return the cells of one frame; dashes for one that is not judged."""
        sign = own_sign(report) if self.is_mixed else ""
        return cell(found_count(report), is_number=True) + cell(
            f"{showing_count(report)}{sign}", is_number=True
        )
