"""Decide what each dip is: not a mark at all, or which kind of mark."""

from motemap.classify.genuine import Origin, Origins, judge_origin
from motemap.classify.kinds import Kind, name_kind
from motemap.classify.scale import ShadowScale

__all__ = ["Kind", "Origin", "Origins", "ShadowScale", "judge_origin", "name_kind"]
