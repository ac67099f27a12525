"""Decide what each dip is: not a mark at all, or which kind of mark."""

from motemap.classify.genuine import Origin, Origins, judge_origin
from motemap.classify.kinds import Kinds, name_kinds
from motemap.classify.scale import ShadowScale

__all__ = ["Kinds", "Origin", "Origins", "ShadowScale", "judge_origin", "name_kinds"]
