"""How much of everything is drawn and run at each size of the benchmark."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

PX_PER_MP: Final = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """The work of one size.

    Parameters
    ----------
    single_px : (int, int)
        Width and height of the single raw and JPEG [px].
    contest_px : tuple of (int, int)
        The same of the raws whose planes all pipelines work on.
    folder_px : (int, int)
        The same of the frames of the folder.
    patch_px : (int, int)
        The same of what is laid side by side to make large frames; even numbers.
    n_frames : tuple of int
        Frames in the folder, each length in turn.
    pixels_mp : tuple of float
        Sizes of frames that the cost is followed over [megapixels].
    n_spots : tuple of int
        Marks in one frame, each number in turn.
    n_times : int
        How often each is run.
    has_all_pipelines : bool
        Whether all other pipelines run, or only the first few: each takes seconds to import.
    """

    single_px: tuple[int, int]
    contest_px: tuple[tuple[int, int], ...]
    folder_px: tuple[int, int]
    patch_px: tuple[int, int]
    n_frames: tuple[int, ...]
    pixels_mp: tuple[float, ...]
    n_spots: tuple[int, ...]
    n_times: int
    has_all_pipelines: bool = True


SIZES: Final = {
    "tiny": Size(
        single_px=(1442, 962),
        contest_px=((1442, 962),),
        folder_px=(902, 602),
        patch_px=(802, 602),
        n_frames=(2, 4),
        pixels_mp=(0.5, 1.0, 2.0),
        n_spots=(0, 50),
        n_times=1,
        has_all_pipelines=False,
    ),
    "small": Size(
        single_px=(4242, 2828),
        contest_px=((4242, 2828),),
        folder_px=(2998, 2002),
        patch_px=(2998, 2002),
        n_frames=(2, 4, 8),
        pixels_mp=(6.0, 12.0, 24.0),
        n_spots=(0, 1000),
        n_times=3,
    ),
    "full": Size(
        single_px=(8256, 5504),
        contest_px=((4242, 2828), (8256, 5504)),
        folder_px=(6000, 4000),
        patch_px=(4242, 2828),
        n_frames=(5, 10, 20, 40),
        pixels_mp=(6.0, 12.0, 24.0, 45.0, 100.0, 150.0),
        n_spots=(0, 1000, 10_000),
        n_times=3,
    ),
}
"""45 megapixels are what today's high-resolution bodies give; sides differ, as in any frame."""
