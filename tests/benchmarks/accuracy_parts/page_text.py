"""The words of the accuracy page; its figures are filled in by `page`."""

HEAD = """
# How well it finds dust

A verdict is worth what its errors are known to be. These are measured: test frames are drawn
with dust that is known to the pixel, written to files, read back like any other file, and
every report is held against the truth. Nothing here is estimated by eye, and no figure was left
out because it was bad.

<!-- Written by tests/benchmarks/accuracy.py; change the words there and run it again. -->

What is drawn: shadows by wave optics (see [the shadow model](shadow.md)) of specks with
irregular outlines whose number falls with size, fibres, drops, smears, and dust on the lens;
raw frames with every colour mosaic, JPEG and TIFF; apertures f/11 to f/32, filter stacks of 0.5
to 3 mm, pixels of 3 to 8 um, ISO 100 to 1600; vignetting to 60 % and light falling off by 25 %
to one side, dark corners, mottled screens, banding, periodic screen structure, phase-detect
rows, hot and dead pixels and clusters of them. Drawn frames are not real ones: a cause of error
nobody thought of is not in these figures.
"""

ROWS = """
## Frame by frame

A mark has to be found when it is at least 1 % deep, stands at least 12 times above the noise in
a filter that knows its shape, and does not lie in a black part of the frame. Two marks nearer
than 0.6 of a width count as one. Everything reported beyond that is a false mark: also a piece
of a fibre or of a lens-dust disc reported by itself, or dust on the lens reported as dust on the
sensor.
"""
ROWS_NOTE = """
Centre: half of the specks are nearer than the first figure, 95 % nearer than the second. Depth,
width and lost area: half of the errors are smaller than the figure; in brackets the bias. "-" in
"wanted": a rough row nobody set a bar for.
"""

BANDS = """
## By depth and by signal to noise

![Share of marks found against their depth](../pictures/accuracy-depth.svg)

![Share of marks found against their signal to noise](../pictures/accuracy-snr.svg)

Marks that stand at least 12 times above the noise; the rows for which a bar is set, and the
rougher ones below them:
"""
BY_SNR = "Marks of every depth:"

CAUSES = """
## False marks by cause

The harness knows what lies where a false mark was reported, and names the likeliest cause. All
rows together:
"""
CAUSES_PLOT = "![False marks by cause](../pictures/accuracy-false.svg)"

LIMIT = """
## How far from the best possible

No program can find a speck that drowns in noise. The best possible detector for a known shape in
known noise is the matched filter: at a threshold `T` it finds the share `Phi(snr - T)`, and `T`
follows from how many false marks one allows (here 0.1 a frame; maxima of a random field, R. J.
Adler, *The Geometry of Random Fields*, 1981). Faint specks of one shape are strewn over a frame
and the depths at which half and 95 % of them are found are compared with that limit.

![Depth at which 95 % are found, over the limit's](../pictures/accuracy-limit.svg)
"""
LIMIT_NOTE = """
Rounding to 8 bits and JPEG destroy a part of the signal for good; "kept by the file" says how
much of the photosites' signal to noise a filter that knows the stored pixels' noise spectrum
could still use. The limit of a finished picture is that of what its file holds. The goal is 1.5.
"""

PROMISE = """
## Is its own sensitivity true?

Each report says how small a speck the frame could have shown: nine in ten of that size would be
found. Specks of just that size were drawn into the very same frame; 85 to 98 % should be found.
"""

CONTEST = """
## Against general-purpose detectors

The same pixels - the plane that this tool's own loader makes, so mosaic and single defects are
out already - were given to other projects' detectors. Each got a block-median background with
straight ends at the borders, a clipped noise map, and the kernel, smallest area and scales that
did best on other seeds. None was made for this job, and each could be built upon. Recall of each
at the loosest threshold, chosen on these very frames, at which it makes no more false marks than
this tool:

![Recall at equal false marks](../pictures/accuracy-others.svg)
"""
CONTEST_KIND = "The same when pieces of fibres, discs and lens dust are forgiven:"

ROUGH = """
## Frames as rough as those of older cameras

Drawn by plain geometry, not by the package's wave optics, as a second opinion: edges that fall
off by half, contour rings of 8-bit codes, overlapping soft discs, hooked fibres at the border,
diagonal shadows, streaks of a swab.
"""
ODD = "Pictures that are no test shot have to be sent back, a merely uneven or warm screen not:"

WORST = """
## Where it fails worst

Each frame can be drawn again with `python tests/benchmarks/accuracy.py` and the words after its
name. Positions are columns and rows of the stored picture, from 0.
"""
