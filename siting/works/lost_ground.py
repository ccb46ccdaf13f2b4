"""Whole ground above headcuts that they would take within the horizon, each piece of it once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from siting.effects.benefits import Swale
from siting.effects.site_effects import Effect
from siting.sites import Sites
from siting.values.rules import Rules
from siting.values.wording import hectares, metres, quantity


@dataclass(frozen=True, slots=True)
class GroundLost:
    """Ground that one headcut takes: length, floor and soil, and how that came about."""

    length_m: float
    swale_ha: float
    soil_m3: float
    how: str


def ground_lost(
    sites: Sites, effects: Sequence[Effect], rules: Rules, *, years: float
) -> Mapping[int, GroundLost]:
    """Ground that each headcut would take, by row of its site.

    A head works up at its likely rate, through what is cut already (which does not count) and then
    through the whole ground above, to its end at most. Ground that two heads would take is counted
    at the one that comes there first: saved at the other, it would still be lost to this one.

    Parameters
    ----------
    sites, effects, rules
        Sites, what is known above each head, and limits.
    years
        Horizon.
    """
    heads = [i for i, e in enumerate(effects) if e.uncut is not None and sites[i].proposal.at_head]
    rates = {i: float(np.nan_to_num(effects[i].benefit.retreat_m_per_yr)) for i in heads}
    first = _first_to_come(effects, heads, rates)
    return {i: _of_head(sites, effects[i], i, rates[i], first, rules, years) for i in heads}


def _first_to_come(
    effects: Sequence[Effect], heads: Sequence[int], rates: Mapping[int, float]
) -> Mapping[int, int]:
    """For each cell that heads work up to, the row of the head that is there first."""
    soonest: dict[int, tuple[float, int]] = {}
    for i in heads:
        uncut, rate = effects[i].uncut, rates[i]
        if uncut is None or rate <= 0:
            continue
        for cell, up in zip(uncut.cell.tolist(), uncut.up_m.tolist(), strict=True):
            soonest[cell] = min(soonest.get(cell, (np.inf, -1)), (up / rate, i))
    return {cell: i for cell, (_, i) in soonest.items()}


def _of_head(
    sites: Sites,
    effect: Effect,
    i: int,
    rate: float,
    first: Mapping[int, int],
    rules: Rules,
    years: float,
) -> GroundLost:
    swale, gain = effect.uncut, effect.benefit
    assert swale is not None  # asked for by the caller
    begins, ends = swale.begins_m, swale.begins_m + swale.length_m
    reach = min(max(rate * years, begins), ends)
    length, floor = _own(swale, begins, reach, [first.get(int(c), i) == i for c in swale.cell])
    section, from_where = gain.gully_section_m2, "as measured below the drop"
    if not np.isfinite(section):
        spot, shape = sites[i].spot, rules.value("loss.section_shape")
        section = shape * spot.drop.height_m * spot.width_m
        from_where = f"{shape:g} of drop times width, since none shows below the drop"
    section = float(np.nan_to_num(section))
    already = f", the first {metres(begins)} of it cut already" if begins > 0 else ""
    shared = (reach - begins) - length
    less = f"; {metres(shared)} of it are another head's, which comes there first"
    how = (
        f"At {quantity(rate, 'm')} a year the head works up {metres(rate * years)} in "
        f"{years:g} years{already}; {metres(swale.length_m)} of whole channel lie above"
        f"{less if shared > 0.05 else ''}. {metres(length)} would be cut, with "
        f"{hectares(floor)} of floor, at a section of {quantity(section, 'm2')} ({from_where})."
    )
    return GroundLost(length, floor, length * section, how)


def _own(swale: Swale, begins: float, reach: float, own: Sequence[bool]) -> tuple[float, float]:
    """Length and floor between two places on the way up, of the cells that are a head's own."""
    if reach <= begins:
        return 0.0, 0.0
    # each cell stands for the way from it to the next one, the last for what is left
    up_m = np.append(swale.up_m, swale.begins_m + swale.length_m)
    floor_ha = np.append(swale.floor_ha, swale.area_ha)
    at = np.clip(up_m, begins, reach)
    mine = np.array(own, dtype=np.bool_)
    floor = np.diff(np.interp(at, up_m, floor_ha))
    return float(np.diff(at)[mine].sum()), float(floor[mine].sum())
