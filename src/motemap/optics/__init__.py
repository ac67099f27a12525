"""The shadow's physics, pure functions without any picture.

`overlap` holds what discs and strips share, `waves` the wave-optics shadow of a speck
or fibre from the shipped `table`, `depths` and `widths` how deep and how wide it is, `stacks` how far
away dust lies, `apertures` the marked f-numbers, `vision` what the eye can see.
"""
