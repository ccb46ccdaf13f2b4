"""Placing rank numbers beside their shapes so that nothing overlaps."""

from __future__ import annotations

import math
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


def place_apart(
    labels: Sequence[Wanted],
    *,
    frame: Box,
    keep_clear: Sequence[Box] = (),
    reaches: Sequence[float],
    first_deg: float = 0.0,
    spread_deg: float = 180.0,
) -> list[tuple[float, float] | None]:
    """Give larger labels a free place at some distance, the nearest first; lines lead to them.

    Parameters
    ----------
    labels
        In the order of their importance.
    frame
        Left, bottom, right and top that a label must stay within.
    keep_clear
        Boxes that no label may touch.
    reaches
        Distances from the shape's edge to try, pixels, the nearest first.
    first_deg
        Direction to try first: 0 to the right, 90 above; the others follow to either side of it.
    spread_deg
        Directions up to so far from the first are tried at every distance before any other.

    Returns
    -------
    list
        Centre of each label, or None for a label that found no place.
    """
    taken = [
        *((w.x - w.half_width, w.y - w.half_height, w.x + w.half_width, w.y + w.half_height)
          for w in labels),
        *keep_clear,
    ]  # fmt: skip
    out: list[tuple[float, float] | None] = []
    words: list[Box] = []
    tries = _tries(reaches, first_deg, spread_deg)
    for label in labels:
        found = None
        half_w, half_h = label.width / 2, label.height / 2
        blocked = np.array(taken, dtype=np.float64).reshape(-1, 4)
        for reach, ux, uy in tries:
            cx = label.x + ux * (label.half_width + reach + half_w)
            cy = label.y + uy * (label.half_height + reach + half_h)
            box = (cx - half_w, cy - half_h, cx + half_w, cy + half_h)
            inside = (
                box[0] >= frame[0]
                and box[1] >= frame[1]
                and box[2] <= frame[2]
                and box[3] <= frame[3]
            )
            if not inside or not _free(box, blocked):
                continue
            line = _along((cx, cy), (label.x, label.y))
            if any(_crosses(line, other) for other in words):
                continue
            found = (cx, cy)
            words.append(box)
            # Later words keep off the line that leads to these.
            taken += [box, *((x - 1.5, y - 1.5, x + 1.5, y + 1.5) for x, y in line.tolist())]
            break
        out.append(found)
    return out


def _along(
    start: tuple[float, float], end: tuple[float, float], step: float = 4.0
) -> NDArray[np.float64]:
    """Points along a line, so many pixels apart, shape ``(n, 2)``."""
    count = max(int(math.dist(start, end) / step), 2)
    return np.linspace(start, end, count)


def _crosses(line: NDArray[np.float64], box: Box) -> bool:
    """Whether a line runs through a box."""
    left, bottom, right, top = box
    x, y = line.T
    return bool(((left < x) & (x < right) & (bottom < y) & (y < top)).any())


def _tries(
    reaches: Sequence[float], first_deg: float, spread_deg: float, directions: int = 24
) -> list[tuple[float, float, float]]:
    """Distances and directions (as x and y of a unit circle) in the order they are tried."""
    turns = [(i + 1) // 2 * (1 if i % 2 else -1) * 360.0 / directions for i in range(directions)]
    near = [(reach, turn) for reach in reaches for turn in turns if abs(turn) <= spread_deg]
    rest = [(reach, turn) for reach in reaches for turn in turns if abs(turn) > spread_deg]
    return [
        (reach, math.cos(math.radians(first_deg + turn)), math.sin(math.radians(first_deg + turn)))
        for reach, turn in (*near, *rest)
    ]
