"""Laying the marks of one frame over those of another, and pairing them.

Shared by the stages that compare states, combine bursts and keep the record. Knows nothing
of cleaning: it takes reports and gives a `Registration` and pairs of row numbers.
"""

from motemap.matching.mark_table import SIZE_ERROR_FRAC, MarkTable, mark_table
from motemap.matching.pair import Pairing, pair_marks
from motemap.matching.register import carry_back, carry_over, register
from motemap.matching.same import refusal

__all__ = [
    "SIZE_ERROR_FRAC",
    "MarkTable",
    "Pairing",
    "carry_back",
    "carry_over",
    "mark_table",
    "pair_marks",
    "refusal",
    "register",
]
