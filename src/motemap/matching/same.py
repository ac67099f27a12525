"""Whether two frames can be laid over each other at all."""

from motemap.bodies import body_key
from motemap.matching.mark_table import mark_table
from motemap.matching.register import is_turned
from motemap.records import FrameReport

MOST_CROP_FRAC = 0.025
"""Raw files keep a few more border pixels than the camera's own JPEG: up to about 1 % on a
side; common practice, no source. Beyond this the picture was resized or cropped."""

TURNED = (
    "The marks of the two pictures lie over each other only with one of the pictures turned by 180 "
    "degrees: a program turned it after the camera wrote it."
)
AS_STORED = "Use both files as the camera stored them."


def refusal(before: FrameReport, after: FrameReport) -> tuple[str, str] | None:
    """Say why two frames cannot be compared.

    Returns
    -------
    tuple of (cause, repair), or None when they can be compared
    """
    return (
        _other_body(before, after) or _other_size(before, after) or _turned_by_half(before, after)
    )


def _other_body(before: FrameReport, after: FrameReport) -> tuple[str, str] | None:
    """Say that two frames are of different bodies; None where nothing says so."""
    ours, theirs = body_key(before.camera), body_key(after.camera)
    for name in ("serial", "model", "maker"):
        one, two = getattr(ours, name), getattr(theirs, name)
        if one and two and one.casefold() != two.casefold():
            return (
                f"The two states come from different bodies ({name} {one!r} and {two!r}).",
                "Compare frames of one body; the dust of another says nothing about this one.",
            )
    return None


def _other_size(before: FrameReport, after: FrameReport) -> tuple[str, str] | None:
    """Say why two pictures differ in size; None when they are of one, or of an unknown one."""
    if before.image is None or after.image is None:
        return None
    one = (before.image.width_px, before.image.height_px)
    two = (after.image.width_px, after.image.height_px)
    if all(abs(a - b) <= MOST_CROP_FRAC * max(a, b) for a, b in zip(one, two, strict=True)):
        return None
    sizes = f"{one[0]} x {one[1]} px and {two[0]} x {two[1]} px"
    if one == two[::-1]:
        return (
            f"One picture was turned by a program after the camera wrote it ({sizes}).",
            AS_STORED,
        )
    return (
        f"The two pictures differ in size ({sizes}).",
        "Use files of one image size from the same sensor area: no reduced JPEG, no crop mode.",
    )


def _turned_by_half(before: FrameReport, after: FrameReport) -> tuple[str, str] | None:
    """Say that the marks fit only with one picture upside down; None where they do not.

    No program turns the pixels of a raw file: of two of them nothing is asked.
    """
    kinds = {state.image.kind if state.image else None for state in (before, after)}
    if kinds == {"raw"} or not is_turned(mark_table(before), mark_table(after)):
        return None
    return TURNED, AS_STORED
