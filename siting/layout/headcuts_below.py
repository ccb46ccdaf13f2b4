"""Which headcuts lie below others: work begins at the lower one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from siting.channels.ground import Ground
from siting.layout.proposals import Proposal

#: A headcut waits for the next one below it within this way of the water, m (common practice, no
#: published source): the lower one would work up to it.
BASE_REACH_M = 150.0


def with_bases(ground: Ground, proposals: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """Note at each headcut those further down the way of its water."""
    heads = [i for i, p in enumerate(proposals) if p.at_head]
    out = list(proposals)
    if len(heads) < 2:
        return tuple(out)
    cells = np.array([out[i].where.cell for i in heads], dtype=np.int64)
    known = set(cells.tolist())
    way, walked = ground.ways_down(cells, length_m=BASE_REACH_M)
    for row, i in enumerate(heads):
        near = way[row, 1:][walked[row, 1:] <= BASE_REACH_M]
        below = [c for c in near.tolist() if c in known and c != out[i].where.cell]
        bases = tuple(dict.fromkeys(below))
        out[i] = replace(out[i], head=replace(out[i].head, bases=bases))
    return tuple(out)


def base_of_each(proposals: Sequence[Proposal], built: Sequence[bool]) -> dict[int, int]:
    """For each headcut that is built the next one below it that is, both as rows."""
    at = {p.where.cell: i for i, p in enumerate(proposals) if built[i] and p.at_head}
    out = {}
    for i in at.values():
        lower = next((at[c] for c in proposals[i].head.bases if c in at), None)
        if lower is not None:
            out[i] = lower
    return out
