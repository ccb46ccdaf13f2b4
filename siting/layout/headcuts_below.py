"""Which headcuts lie below others: work begins at the lower one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from siting.channels.ground import Ground
from siting.layout.proposals import Place

#: A headcut waits for the next one below it within this way of the water, m (common practice, no
#: published source): the lower one would work up to it.
BASE_REACH_M = 150.0


def is_head(place: Place) -> bool:
    """Whether a place stands at a headcut itself, not below one."""
    return place.headcut >= 0 and place.control in ("vertical", "refer")


def with_bases(ground: Ground, places: Sequence[Place]) -> tuple[Place, ...]:
    """Note at each headcut those further down the way of its water."""
    heads = [i for i, p in enumerate(places) if is_head(p)]
    out = list(places)
    if len(heads) < 2:
        return tuple(out)
    cells = np.array([places[i].cell for i in heads], dtype=np.int64)
    known = set(cells.tolist())
    way, walked = ground.ways_down(cells, length_m=BASE_REACH_M)
    for row, i in enumerate(heads):
        near = way[row, 1:][walked[row, 1:] <= BASE_REACH_M]
        below = [c for c in near.tolist() if c in known and c != places[i].cell]
        out[i] = replace(places[i], bases=tuple(dict.fromkeys(below)))
    return tuple(out)


def base_of_each(places: Sequence[Place], built: Sequence[bool]) -> dict[int, int]:
    """For each headcut that is built the next one below it that is, both as rows."""
    at = {
        p.cell: i
        for i, p in enumerate(places)
        if built[i] and p.control == "vertical" and is_head(p)
    }
    out = {}
    for i in at.values():
        lower = next((at[c] for c in places[i].bases if c in at), None)
        if lower is not None:
            out[i] = lower
    return out
