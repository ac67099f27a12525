"""The shadow's physics, pure functions without any picture.

`rays` holds the ray model and closed forms, `waves` the wave-optics shadow of a speck,
`strips` that of a fibre, `apertures` the marked f-numbers, `vision` what the eye can see.
"""
