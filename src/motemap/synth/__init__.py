"""Draws test frames of known dust by wave optics.

A frame is drawn from one record and its seed; the same record gives the same bytes.

>>> from motemap.synth.frame import draw_frame
>>> from motemap.synth.marks import MarkMix
>>> from motemap.synth.spec import FrameSpec
>>> spec = FrameSpec(width_px=240, height_px=160, mix=MarkMix(n_specks=2, n_fibres=0))
>>> drawn = draw_frame(spec)
>>> drawn.codes.shape, len(drawn.marks), drawn.marks[0].kind
((160, 240), 2, 'speck')

`motemap.synth.store` writes the frame (`write_frame`) and the truth (`write_truth`).
"""
