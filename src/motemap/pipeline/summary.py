"""What a whole run comes to, and the exit code that says so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from motemap.pipeline.exit_codes import CLEAN_CODE, FAULT_CODE, READY_CODE, RESHOOT_CODE
from motemap.report.outcome import count_outcomes

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.records import FrameReport


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSummary:
    """How many frames came to what.

    Parameters
    ----------
    ready, clean, reshoot, unreadable : int
        Number of frames.
    exit_zero : bool
        Whether a judgement, whatever it is, ends with 0.
    """

    ready: int = 0
    clean: int = 0
    reshoot: int = 0
    unreadable: int = 0
    exit_zero: bool = False

    @classmethod
    def of(cls, frames: Iterable[FrameReport], *, exit_zero: bool = False) -> RunSummary:
        """Count the outcomes of frames."""
        return cls(**count_outcomes(frames), exit_zero=exit_zero)

    @property
    def exit_code(self) -> int:
        """The worst outcome wins: not read (1), shoot again (4), clean (3), ready (0)."""
        n_judged = self.ready + self.clean + self.reshoot
        if self.unreadable or not n_judged:  # nothing looked at must not read as ready
            return FAULT_CODE
        if self.exit_zero:
            return READY_CODE
        if self.reshoot:
            return RESHOOT_CODE
        return CLEAN_CODE if self.clean else READY_CODE
