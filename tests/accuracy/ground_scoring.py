"""Count found heads, and gullies drawn, against the truth of an invented ground."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from tests.accuracy.grounds import MadeGround

WITHIN_M = 6.0
TRAP_WITHIN_M = 10.0


@dataclass(frozen=True, slots=True)
class HeadCount:
    """Heads found and missed; detections that meet none, by what lies there."""

    found: int
    missed: int
    doubles: int
    aside: int  # met a head that does not count
    wrong: Counter[str] = field(default_factory=Counter)
    position_m: tuple[float, ...] = ()

    @property
    def recall(self) -> float:
        """Share of the counted heads that were found."""
        return self.found / max(self.found + self.missed, 1)

    @property
    def precision(self) -> float:
        """Share of the detections that met a counted head, those aside left out."""
        return self.found / max(self.found + self.doubles + self.wrong.total(), 1)


def count_heads(found_xy: NDArray[np.float64], ground: MadeGround) -> HeadCount:
    """Match detections with heads, one to one within 6 m, counted heads first.

    Parameters
    ----------
    found_xy
        Map coordinates, shape (n, 2).
    ground
        What they were found on.
    """
    heads = ground.truth["headcuts"]
    spots = np.array([(h["x"], h["y"]) for h in heads], float).reshape(-1, 2)
    counted = np.array([h["counted"] for h in heads], bool)
    distance = np.hypot(*(found_xy[:, None] - spots[None]).transpose(2, 0, 1))
    cost = np.where(distance <= WITHIN_M, distance - 100.0 - 10.0 * counted, 0.0)
    i, j = linear_sum_assignment(cost)
    met = distance[i, j] <= WITHIN_M
    i, j = i[met], j[met]
    hit = counted[j]
    rest = np.setdiff1d(np.arange(len(found_xy)), i)
    near = np.array([bool((distance[k] <= WITHIN_M).any()) for k in rest], bool)
    traps = ground.truth["traps"]
    places = np.array([(t["x"], t["y"]) for t in traps], float).reshape(-1, 2)
    wrong: Counter[str] = Counter()
    for k in rest[~near] if rest.size else []:
        far = np.hypot(*(places - found_xy[k]).T)
        here = far.size > 0 and far.min() <= TRAP_WITHIN_M
        wrong[traps[int(far.argmin())]["kind"] if here else "open ground"] += 1
    return HeadCount(
        int(hit.sum()),
        int(counted.sum() - hit.sum()),
        int(near.sum()),
        int((~hit).sum()),
        wrong,
        tuple(distance[i[hit], j[hit]].tolist()),
    )


def pooled(counts: Iterable[HeadCount]) -> HeadCount:
    """Add counts up."""
    all_ = list(counts)
    return HeadCount(
        sum(c.found for c in all_),
        sum(c.missed for c in all_),
        sum(c.doubles for c in all_),
        sum(c.aside for c in all_),
        sum((c.wrong for c in all_), Counter()),
        tuple(d for c in all_ for d in c.position_m),
    )


@dataclass(frozen=True, slots=True)
class GullyMatch:
    """One planted gully and what was drawn over it."""

    number: int
    planted_m2: float
    planted_void_m3: float
    overlap: float  # intersection over union with all drawn gullies that touch it
    void_m3: float  # of these


def match_gullies(
    drawn: NDArray[np.integer], void_m3: dict[int, float], ground: MadeGround
) -> list[GullyMatch]:
    """Overlap and void of each planted gully with the drawn ones that touch it.

    Parameters
    ----------
    drawn
        Number of the drawn gully of each 1 m cell, 0 outside; shape of ``ground.gully``.
    void_m3
        Void volume of each drawn gully.
    ground
        What they were drawn on.

    Notes
    -----
    A drawn gully counts for the planted one that it shares most cells with.
    """
    n = int(drawn.max()) + 1
    planted = {g["id"]: g for g in ground.truth["gullies"]}
    owner = np.zeros(n, int)
    for k in range(1, n):
        under = ground.gully[drawn == k]
        under = under[under > 0]
        if under.size:
            owner[k] = int(np.bincount(under).argmax())
    out = []
    for number, told in planted.items():
        mine = np.flatnonzero(owner == number)
        there, here = ground.gully == number, np.isin(drawn, mine) & (drawn > 0)
        both = float((there & here).sum())
        union = float((there | here).sum())
        void = float(sum(void_m3.get(int(k), 0.0) for k in mine))
        out.append(GullyMatch(number, told["area_m2"], told["void_m3"], both / union, void))
    return out
