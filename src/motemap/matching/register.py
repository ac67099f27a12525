"""One scale about the picture's middle plus a shift, found by what stays.

Another lens, zoom or focus draws the shadows radially (derived from the rays); a
stabilised or cropped frame shifts them. Every pair of marks of like size within reach votes
for the transformations that would lay one over the other; the best supported ones are
refined by robust least squares. How well a result must be supported is reckoned from how
many pairs chance alone would bring together, so the answer may be "nothing to register by".
"""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from motemap.changes import IDENTITY, Registration
from motemap.matching.chance import agrees_in_size, chance_pairs, log_tail
from motemap.matching.fit import CandidatePairs, fit_pairs
from motemap.matching.mark_table import MarkTable

WIDEST_SHIFT_PX = 30.0
"""Largest shift looked for; sequences are promised to 20 px."""

WIDEST_SCALE = 0.03
"""Largest departure of the scale from 1 looked for; promised to 0.015."""

VOTE_CELL_PX = 4.0
"""Shifts, and moves of the corners by a scale, are told apart by this; the fit finds the rest."""

MOST_VOTERS = 600
"""Marks that vote at most: pairs go with their square, and the largest stay best."""

N_PEAKS = 12
"""Best supported transformations that are refined; wrong ones cost time only."""

FEW_MARKS = 2
"""A registration that rests on no more marks says so."""

LOG_CHANCE_ALLOWED = math.log(0.25)
"""Accept a registration when chance would offer one as good in fewer than a quarter of
cases. Lenient on purpose: that nothing at all stays is rare, so the odds that a lone
well-fitting mark is the same one are far better than this figure alone."""

LOG_TURNED_ODDS = math.log(1e-4)
"""How much rarer by chance the fit of marks must be with a picture turned than without: turned
pictures are rare, and a comparison is refused for one; a choice."""


def carry_over(place_px: NDArray[np.float64], registration: Registration) -> NDArray[np.float64]:
    """Carry positions of the first picture over to the second.

    Parameters
    ----------
    place_px : (N, 2) float64
        Right and down from the middle of the first picture [px].
    registration : Registration
        An unknown one counts as "nothing moved".

    Returns
    -------
    (N, 2) float64
        Right and down from the middle of the second picture [px].
    """
    scale, shift = _terms(registration)
    over: NDArray[np.float64] = scale * place_px + shift
    return over


def carry_back(place_px: NDArray[np.float64], registration: Registration) -> NDArray[np.float64]:
    """Carry positions of the second picture back to the first; undoes `carry_over`."""
    scale, shift = _terms(registration)
    back: NDArray[np.float64] = (place_px - shift) / scale
    return back


def _terms(registration: Registration) -> tuple[float, NDArray[np.float64]]:
    scale = 1.0 if registration.scale is None else registration.scale
    return scale, np.array([registration.shift_x_px or 0.0, registration.shift_y_px or 0.0])


def register(before: MarkTable, after: MarkTable) -> Registration:
    """Find how the marks of one frame lie over those of another.

    Parameters
    ----------
    before, after : MarkTable
        Marks of the two frames; those on the lens take no part.

    Returns
    -------
    Registration
        Exactly `IDENTITY`'s scale and shift when that explains the marks as well as any
        other; unknown, with a reason, when chance would explain the best as well.
    """
    ours, theirs = _voters(before), _voters(after)
    if not len(ours) or not len(theirs):
        empty = "first" if not len(ours) else "second"
        return Registration(reason=f"the {empty} state has no marks to register by")
    log_chance, best = _best(ours, theirs)
    if not best.n_used or log_chance > LOG_CHANCE_ALLOWED:
        return Registration(reason="too few marks are alike in both to register by")
    few = f"rests on {best.n_used} mark" + ("s" if best.n_used > 1 else "")
    return replace(best, reason=few if best.n_used <= FEW_MARKS else None)


def is_turned(before: MarkTable, after: MarkTable) -> bool:
    """Tell whether marks lie over one another only once a picture is turned by half a circle.

    Such a turn leaves the size of a picture as it is, and a program that turns pixels sets the
    orientation tag back: nothing but the marks tells of it.
    """
    ours, theirs = _voters(before), _voters(after)
    if not len(ours) or not len(theirs):
        return False
    log_turned, _ = _best(ours, replace(theirs, place_px=-theirs.place_px))
    # The fit as the pictures are costs time, and no chance is above 1.
    return log_turned < LOG_TURNED_ODDS and log_turned < _best(ours, theirs)[0] + LOG_TURNED_ODDS


def _best(ours: MarkTable, theirs: MarkTable) -> tuple[float, Registration]:
    """Choose between "nothing moved" and the peaks of the vote by what chance would give.

    Returns
    -------
    log_chance : float
        Logarithm of how often chance alone would bring so many pairs together.
    best : Registration
    """
    found = _candidates(ours, theirs)
    gate_px = max(ours.gate_px, theirs.gate_px)
    expected = chance_pairs(ours, theirs, gate_px)
    log_tries = math.log(_n_tries(found.radius_px, gate_px))
    ranked = []
    for rank, guess in enumerate([IDENTITY, *_peaks(found)]):
        result = fit_pairs(found, guess, gate_px)
        is_tried = not _is_identity(result)
        log_chance = log_tail(result.n_used, expected) + log_tries * is_tried
        ranked.append((log_chance, result.residual_px or 0.0, rank, result))
    log_chance, _, _, best = min(ranked, key=lambda row: row[:3])
    return log_chance, best


def _is_identity(result: Registration) -> bool:
    return result.scale == 1.0 and not result.shift_x_px and not result.shift_y_px


def _n_tries(radius_px: float, gate_px: float) -> float:
    """Count the transformations that differ by more than a gate somewhere in the picture."""
    n_shifts = (WIDEST_SHIFT_PX / gate_px) ** 2
    n_scales = max(1.0, WIDEST_SCALE * radius_px / gate_px)
    return max(1.0, n_shifts * n_scales)


def _voters(table: MarkTable) -> MarkTable:
    """Keep the marks on the sensor; of very many, the largest."""
    rows = np.flatnonzero(table.is_fixed)
    if len(rows) > MOST_VOTERS:
        size = np.nan_to_num(table.log_size[rows], nan=-np.inf)
        rows = np.sort(rows[np.argsort(-size, kind="stable")[:MOST_VOTERS]])
    return replace(
        table,
        place_px=table.place_px[rows],
        log_size=table.log_size[rows],
        log_size_error=table.log_size_error[rows],
        reach_px=table.reach_px[rows],
        is_fixed=table.is_fixed[rows],
    )


def _candidates(before: MarkTable, after: MarkTable) -> CandidatePairs:
    """Pair all marks of like size that some allowed transformation would bring together."""
    radius_px = math.hypot(before.half_width_px, before.half_height_px)
    reach_px = WIDEST_SHIFT_PX * math.sqrt(2.0) + WIDEST_SCALE * radius_px
    near = cKDTree(before.place_px).sparse_distance_matrix(
        cKDTree(after.place_px), reach_px, output_type="ndarray"
    )
    order = np.lexsort((near["j"], near["i"]))
    rows, cols = near["i"][order], near["j"][order]
    is_alike = agrees_in_size(before, after, rows, cols)
    rows, cols = rows[is_alike], cols[is_alike]
    return CandidatePairs(
        rows=rows,
        cols=cols,
        from_px=before.place_px[rows],
        to_px=after.place_px[cols],
        radius_px=radius_px,
    )


def _peaks(found: CandidatePairs) -> list[Registration]:
    """Find the transformations with the most votes, best first; ties go to the least movement."""
    if not len(found.rows):
        return []
    step = VOTE_CELL_PX / found.radius_px
    n_scales = 2 * math.ceil(WIDEST_SCALE / step) + 1
    scales = 1.0 + step * np.arange(-(n_scales // 2), n_scales // 2 + 1, dtype=np.float64)
    n_cells = 2 * math.ceil(WIDEST_SHIFT_PX / VOTE_CELL_PX) + 1
    votes = _votes(found, scales, n_cells)
    strength = votes[:, 1:, 1:] + votes[:, 1:, :-1] + votes[:, :-1, 1:] + votes[:, :-1, :-1]
    middle = n_cells // 2
    where = np.indices(strength.shape).reshape(3, -1)
    shift_px = (where[1:] + 0.5 - middle) * VOTE_CELL_PX
    effort = np.hypot(*shift_px) + np.abs(scales[where[0]] - 1.0) * found.radius_px
    order = np.lexsort((effort, -strength.ravel()))[:N_PEAKS]
    return [
        Registration(
            scale=float(scales[where[0][peak]]),
            shift_x_px=float(shift_px[0][peak]),
            shift_y_px=float(shift_px[1][peak]),
        )
        for peak in order
        if strength.ravel()[peak] > 0
    ]


def _votes(found: CandidatePairs, scales: NDArray[np.float64], n_cells: int) -> NDArray[np.float64]:
    """Count, for each scale, how many candidates ask for each shift."""
    shift_px = found.to_px[None] - scales[:, None, None] * found.from_px[None]
    cell = np.floor(shift_px / VOTE_CELL_PX + 0.5).astype(np.intp) + n_cells // 2
    is_inside = np.all((cell >= 0) & (cell < n_cells), axis=2)
    layer = np.broadcast_to(np.arange(len(scales))[:, None], is_inside.shape)
    flat = (layer * n_cells + cell[..., 0]) * n_cells + cell[..., 1]
    count = np.bincount(flat[is_inside], minlength=len(scales) * n_cells * n_cells)
    return count.reshape(len(scales), n_cells, n_cells).astype(np.float64)
