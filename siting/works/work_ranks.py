"""The order of works: what saves most for what it takes first, each after what it needs."""

from __future__ import annotations

import math
from collections.abc import Sequence

from siting.works.work import Work


def ranked(works: Sequence[Work], rank_by: str) -> tuple[int, ...]:
    """Numbers of works in the order of their ranks.

    A work that needs another below it counts together with what of that does not stand yet, and
    comes just after it. Those that cannot work, or save nothing, come last.

    Parameters
    ----------
    works
        Works, by number.
    rank_by
        One of `siting.works.work.RANK_BY`.
    """
    left = {work.id: work for work in works}
    out: list[int] = []
    while left:
        best = max(left.values(), key=lambda w: _order(w, left, rank_by))
        for work in _with_needs(best, left):
            out.append(work.id)
            del left[work.id]
    return tuple(out)


def _order(work: Work, left: dict[int, Work], rank_by: str) -> tuple[bool, float, int]:
    """Whether it can work, what it saves for what it takes, its number; the most comes first."""
    return work.functions, _value(_with_needs(work, left), rank_by), -work.id


def _with_needs(work: Work, left: dict[int, Work]) -> list[Work]:
    """A work behind everything that it needs and that does not stand yet.

    What needs less comes first, then the lower number, whichever work they are taken for.
    """
    every = [left[number] for number in _needed(work, left)]
    return sorted(every, key=lambda one: (len(_needed(one, left)), one.id))


def _needed(work: Work, left: dict[int, Work]) -> set[int]:
    """Numbers of a work and of all that it needs, directly or not, and that does not stand yet."""
    out = {work.id}
    for number in work.needs:
        if number in left:
            out |= _needed(left[number], left)
    return out


def _value(together: Sequence[Work], rank_by: str) -> float:
    """What works save together, for what they take together."""
    saved = math.fsum(w.saved_m3 for w in together)
    if rank_by == "most-saved":
        return saved
    days = rank_by == "crew-days"
    takes = math.fsum(w.takings.crew_days if days else w.takings.cost_likely for w in together)
    return saved / takes if takes > 0 else 0.0
