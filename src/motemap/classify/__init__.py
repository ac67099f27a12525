"""Decide what each dip is: not a mark at all, or which kind of mark."""

from motemap.classify.genuine import Origins, judge_origins
from motemap.classify.kinds import Kinds, name_kinds
from motemap.classify.scale import ShadowScale

__all__ = ["Kinds", "Origins", "ShadowScale", "judge_origins", "name_kinds"]
