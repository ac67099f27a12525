"""The two states under comparison, laid over each other."""

from dataclasses import dataclass

from motemap.changes import Registration
from motemap.compare.aperture import Apertures, compare_apertures
from motemap.errors import GeometryError
from motemap.matching import MarkTable, Pairing, mark_table, pair_marks, refusal, register
from motemap.records import FrameReport


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoStates:
    """Two states as reports and as columns, and which of their marks are one.

    Parameters
    ----------
    before, after : FrameReport
        In order of time.
    before_table, after_table : MarkTable
        Their spots, in the reports' order.
    registration : Registration
        How the first lies over the second.
    pairs : Pairing
        Marks found at one place.
    apertures : Apertures
        From the first state to the second.
    """

    before: FrameReport
    after: FrameReport
    before_table: MarkTable
    after_table: MarkTable
    registration: Registration
    pairs: Pairing
    apertures: Apertures

    @property
    def is_alike(self) -> bool:
        """Whether depths mean the same in both: one aperture, one way of storing light."""
        kinds = {state.image.kind if state.image else None for state in (self.before, self.after)}
        return self.apertures.is_read and self.apertures.is_same and len(kinds) == 1

    @property
    def has_like_depths(self) -> bool:
        """Whether depths can be compared, if only after what all marks share is taken off."""
        return self.is_alike or not (self.apertures.is_read or self.apertures.ratio is None)


def lay_over(before: FrameReport, after: FrameReport) -> TwoStates:
    """Register two states and pair their marks.

    Raises
    ------
    GeometryError
        For another body, or pictures of another size.
    """
    wrong = refusal(before, after)
    if wrong is not None:
        raise GeometryError(wrong[0], repair=wrong[1], path=after.file)
    one, two = mark_table(before), mark_table(after)
    registration = register(one, two)
    pairs = pair_marks(one, two, registration)
    return TwoStates(
        before=before,
        after=after,
        before_table=one,
        after_table=two,
        registration=registration,
        pairs=pairs,
        apertures=compare_apertures(before, after, pairs, registration),
    )
