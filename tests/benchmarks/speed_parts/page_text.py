"""The words of the speed page; its figures are filled in by `page`."""

from typing import Final

HEAD: Final = """
# How fast it is

A folder of test shots should be judged while one waits. What that costs is measured here with whole
programs started from the shell, as a user starts them, and as ratios within one run: seconds depend on
the machine, ratios less so.

<!-- Written by tests/benchmarks/speed.py; change the words there and run it again. -->

All files are drawn by the package itself. Commands that are compared run in turns, A B A B, after one
run of each that is not counted; so the files are in the system's cache, and what else the machine does
meets both. Times are the least of all runs, medians in brackets. Memory is the largest resident set of
any process, as the system tells it.
"""

SHORT: Final = """
**These figures are of a short run on smaller frames**, where the start of the program weighs more. The goals
are meant for 45 megapixels and folders of 40 frames: `--size full`.
"""

GOALS: Final = """
## Goals and what was reached

The goals were set before the work was done.
"""
ALL_REACHED: Final = "All of them are reached."
MISSED: Final = "Missed, and why:"

DECODING: Final = """
## One frame, against decoding alone

A check has to decode the file. The bare process imports the same library, decodes the file to an array
and ends; nothing that judges pictures can be faster.
"""
DECODING_NOTE: Final = """
A raw is decoded by LibRaw through rawpy, a JPEG by libjpeg-turbo through Pillow: to red, green and blue, or to the
brightness alone, which is what a check uses. The check of a single frame works with two threads where the
machine has two cores, decoding uses one; the line "one thread" says what that gains.

One run is not the next, and decoders, array arithmetic and the start of Python do not suit all processors
alike. On 2026-11-29 the times over those of decoding were, for the raw and for the JPEG's colours: 1.73 and
1.68 on an AMD EPYC before the day's last changes, 1.43 and 2.07 after them; 1.25 and 2.18 on an Intel Xeon
at 2.5 GHz that had other work to do.
"""

STAGES: Final = """
## Where the time goes

One check in one process, with the clock read before and after each stage; wall time, and in brackets the
processor time of all threads together. What a stage calls that has a line of its own is not counted
twice.
"""

CONTEST: Final = """
## Against other pipelines on the same pixels

The plane of linear light that the loader makes of a raw goes through background, detection and
measurement by this tool and by general-purpose packages, each in processes of its own, with their
libraries imported and everything run once before the clock starts, with one thread for linear algebra, as
the program itself has it; strips of the picture may still be worked on by two. "Tuned" are the set-ups of
[the accuracy page](accuracy.md): they find about as much as they can, on a background of block medians.
"Its own background" is what a user of that package would write. "Found" counts marks that have to be found,
"else" is whatever else was reported.
"""
CONTEST_NOTE: Final = """
None of them was made for this job, and they do not do the same: none allows for how noise and its
patterns change across the frame and with the size of a mark, or parts dust from stripes, codes and lens dust.
A pipeline that is faster and finds less has not won; one that is faster and finds as much on this plain
frame shows what the other frames of the accuracy page cost.
"""

FRAMES: Final = """
## Folders

With `--jobs 2` two processes judge the frames. Copies of the program, they cost nothing to start where the
system can copy a process; threads of one process would wait for each other wherever Python itself is at
work.
"""

PIXELS: Final = """
## Cost against pixels

Frames made of one drawn patch and its mirror images, so that every square centimetre is equally dirty.
A slope of the logarithms of 1 means that twice the pixels cost twice the time; below 1, that what
every run costs is a part of it.
"""

SPOTS: Final = "## Cost against marks"

STARTING: Final = """
## Starting

What needs no picture imports nothing heavy.
"""

BEFORE: Final = """
## Before and after

Before the work on speed, on another machine, a 45-megapixel raw took 2.97 s against 0.65 s
for decoding alone (4.6 times) and 762 MB; the JPEG took 2.55 s against 0.19 s for its brightness or 0.35 s
for its colours, and 902 MB. The profile of the raw was then, in seconds: imports 0.2, loading 0.85 (decoding
0.6 of it), flattening 0.22, detection 0.55, lens dust 0.17, stack distance 0.19, measuring 0.15, sizes 0.1, structure of the
shot 0.06. A third of the whole was the system handing out fresh memory: every pass over the picture made a
new plane of it. Folders gained a factor of 1.3 from a second job.

What was changed: work is done in strips that fit the processor's cache, with scratch space that is used
again, and by several threads; planes are narrow and few; no pass is done twice; frames of a folder are
judged in processes instead of threads. What is done for each mark is done for many at once. A check
filters by OpenCV: to import scipy's filters took half a second, OpenCV takes a tenth of that and is several
times as fast. The program keeps the memory that it freed for the next array.
"""
BEFORE_TABLE: Final = (
    ("raw", "decoding", 2.97 / 0.65, 762),
    ("jpeg", "decoding to colours", 2.55 / 0.35, 902),
    ("jpeg", "decoding to brightness", 2.55 / 0.19, 902),
)
"""File, what its check is held against, time over that, MB: figures of the day the work began,
kept by hand."""

WHY: Final = {
    "raw time": (
        "The time beyond decoding is a start of Python with its array libraries (a bare decoding starts "
        "fewer), one pass to reduce the mosaic to cells, and the search itself; the table of stages "
        "says how much each takes."
    ),
    "jpeg time": (
        "libjpeg-turbo decodes a smooth picture at hundreds of megapixels a second; the start of Python and "
        "the search take longer than that, as the table of stages says."
    ),
    "raw memory": (
        "The decoder holds the file and all photosites, two bytes each, while the plane of cells is "
        "made of them."
    ),
    "jpeg memory": "The decoder holds the brightness of every pixel while cells are made of it.",
    "contest": (
        "Those that are ahead search with one kernel or a fixed set of thresholds and measure less; see "
        "the section on other pipelines for what they find."
    ),
    "jobs": (
        "Two processes share the memory's bandwidth and the processor's cache, and the start of the "
        "program is not shared out: it weighs much when frames are few and small."
    ),
    "flat memory": (
        "A process keeps what it was handed out for its largest frame so far, and frames differ a little."
    ),
    "linear frames": "Measured with other work on the machine.",
    "linear pixels": "Large planes leave the processor's cache, small ones do not.",
    "spots": (
        "Each mark is cut out, measured in thirty ways, held against the shadows of all sizes and written as "
        "a record of its own; none of it takes long, and none of it is needless."
    ),
    "start": "Python's own start is the larger part: see the section on starting.",
}
"""Why a goal is missed, when it is."""
