"""Headcuts below a work that may work up to it within the horizon and take its base away."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from siting.effects.site_effects import Effect
from siting.sites import Sites
from siting.values.rules import Rules
from siting.values.wording import metres
from siting.works.curves import rising
from siting.works.work import Loss


@dataclass(frozen=True, slots=True)
class Below:
    """A headcut below a work.

    Parameters
    ----------
    row
        Its site.
    chance
        Chance that it comes up to the work: that it moves at all, times that it comes so far.
    how
        The same in a sentence.
    """

    row: int
    chance: float
    how: str


def heads_below(
    sites: Sites,
    effects: Sequence[Effect],
    rows: Sequence[int],
    losses: Mapping[int, Loss],
    rules: Rules,
    *,
    years: float,
) -> tuple[Below, ...]:
    """Headcuts that may come up to a work from below.

    Parameters
    ----------
    sites, effects
        Sites and what each does.
    rows
        Sites of the work.
    losses
        What each headcut would take, by its row, with the chance that it moves.
    rules, years
        Limits and the horizon.
    """
    out = []
    for i, loss in losses.items():
        if i in rows:
            continue
        away = _distance_m(sites, effects, i, rows)
        if away is None:
            continue
        rate = float(np.nan_to_num(effects[i].benefit.retreat_m_per_yr))
        reach = rate * years
        said = (
            f"The head of site {i + 1} lies {metres(away)} below and may work up {metres(reach)} "
            f"in {years:g} years"
        )
        share = reach / max(away, 1.0)
        comes = rising(rules, "chance_holds.reach", share, subject="", text=said)
        chance = comes.value * loss.chance_lost
        if chance > 0:
            how = f"{comes.text}; it moves with {loss.chance_lost:.2f}."
            out.append(Below(i, chance, how))
    return tuple(out)


def _distance_m(
    sites: Sites, effects: Sequence[Effect], head: int, rows: Sequence[int]
) -> float | None:
    """Way from a headcut up to the nearest site of a work; None where it is not on that way.

    Known along the whole channel above the head. To a headcut further up, past channel that is cut
    already, the straight line stands in: it is the shorter one.
    """
    uncut, cells = effects[head].uncut, dict[int, float]()
    if uncut is not None:
        cells = dict(zip(uncut.cell.tolist(), uncut.up_m.tolist(), strict=True))
    along = [cells[sites[i].where.cell] for i in rows if sites[i].where.cell in cells]
    if along:
        return float(min(along))
    own = sites[head].where
    straight = [
        float(np.hypot(sites[i].where.x_m - own.x_m, sites[i].where.y_m - own.y_m))
        for i in rows
        if own.cell in sites[i].head.bases
    ]
    return min(straight, default=None)
