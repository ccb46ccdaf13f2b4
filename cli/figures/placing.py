"""Placing rank numbers beside their shapes so that nothing overlaps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Box = tuple[float, float, float, float]

#: Where a label may stand, best first: sideways and upward, in shares of its free distance.
_PLACES = ((1, 1), (1, 0), (1, -1), (-1, 1), (-1, 0), (-1, -1), (0, 1), (0, -1))


@dataclass(frozen=True, slots=True)
class Wanted:
    """A label to place: its point, the shape's half size, its own width and height; pixels."""

    x: float
    y: float
    half_width: float
    half_height: float
    width: float
    height: float


def _free(box: Box, taken: NDArray[np.float64]) -> bool:
    """Whether a box touches none of the others, rows of left, bottom, right and top."""
    left, bottom, right, top = box
    touches = (
        (left < taken[:, 2]) & (taken[:, 0] < right) & (bottom < taken[:, 3]) & (taken[:, 1] < top)
    )
    return not bool(touches.any())


def _centre(label: Wanted, sideways: int, upward: int, gap: float) -> tuple[float, float]:
    dx = sideways * (label.half_width + gap + label.width / 2)
    reach = label.half_height if sideways else label.half_height + gap + label.height / 2
    return label.x + dx, label.y + upward * reach


def place_labels(
    labels: Sequence[Wanted], *, frame: Box, keep_clear: Sequence[Box] = (), gap: float = 2.0
) -> list[tuple[float, float] | None]:
    """Give each label a free place; the first in the list choose first.

    Parameters
    ----------
    labels
        In the order of their importance.
    frame
        Left, bottom, right and top that a label must stay within.
    keep_clear
        Further boxes that no label may touch.
    gap
        Distance from the shape, pixels.

    Returns
    -------
    list
        Centre of each label, or None for a label that found no place and is dropped.
    """
    shapes = [
        (w.x - w.half_width, w.y - w.half_height, w.x + w.half_width, w.y + w.half_height)
        for w in labels
    ]
    fixed = [*shapes, *keep_clear]
    taken = np.full((len(fixed) + len(labels), 4), np.nan)
    if fixed:
        taken[: len(fixed)] = fixed
    used = len(fixed)
    out: list[tuple[float, float] | None] = []
    for label in labels:
        found = None
        for sideways, upward in _PLACES:
            cx, cy = _centre(label, sideways, upward, gap)
            half_w, half_h = label.width / 2, label.height / 2
            box = (cx - half_w, cy - half_h, cx + half_w, cy + half_h)
            inside = (
                box[0] >= frame[0]
                and box[1] >= frame[1]
                and box[2] <= frame[2]
                and box[3] <= frame[3]
            )
            if inside and _free(box, taken[:used]):
                found = (cx, cy)
                taken[used] = box
                used += 1
                break
        out.append(found)
    return out
