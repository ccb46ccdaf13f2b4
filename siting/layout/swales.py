"""Grade control in swales that open out: where a low, level structure spreads and slows the water.

A swale whose floor widens going down drops its sediment there. Low banks and a wide floor are what
a log mat asks for; in cut channels `siting.layout.series` lays series instead.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from siting.channels.channel_reading import ChannelReading
from siting.channels.ground import Ground
from siting.channels.reach_settings import SWALES
from siting.layout.fans import station_spacing_m
from siting.layout.measuring import Trials
from siting.layout.proposals import Placing, Proposal, Spots, Words, at_station
from siting.layout.series import gentle, near_places
from siting.layout.station_survey import StationSurvey
from siting.places.spot import Task
from siting.values.wording import counted, hectares, metres, percent
from terrain.channels.sections import RESOLVED_CELLS
from terrain.values.arrays import FloatArray, IntArray

#: How sure a wide floor is: it is told from low ground alone, grass and soil are not seen.
CONFIDENCE = 0.5
#: Two flow paths side by side on one wide floor get one structure between them, m.
BESIDE_M = 15.0
#: Where a floor is too wide to span, so many stations at its ends are looked at too.
ENDS = 3
#: What such a place asks of a structure.
SLOW_AND_SPREAD = Task("grade")


def place_in_swales(trials: Trials, reading: ChannelReading, others: Sequence[Proposal]) -> Placing:
    """Propose one low structure where the floor of a swale opens out.

    Parameters
    ----------
    trials
        Measures and decides.
    reading
        Channels as read at the ground's stations.
    others
        Places that are proposed already.
    """
    ground = trials.ground
    s = ground.stations
    if s.size < 3:
        return Placing()
    width = floor_width_m(ground)
    usual = _usual_width_m(ground, width)
    with np.errstate(invalid="ignore"):
        wide = width >= ground.rules.value("swale.widening") * usual
    swale = np.isin(reading.setting, SWALES) & ~s.is_fan & gentle(ground)
    swale &= s.drainage_area_ha >= ground.rules.value("swale.drainage_area")
    at = np.flatnonzero(swale & wide & np.isfinite(width) & ~near_places(ground, others))
    at = at[ground.inside(s.cell[at]) & ~ground.cut.is_cut(s.cell[at])]
    at = at[~ground.under_water(s.cell[at]) & ~ground.near_dam(s.x_m[at], s.y_m[at])]
    widest = ground.rules.high("hand_work.channel_width")
    shown = width >= RESOLVED_CELLS * ground.raster.grid.cell_m
    chosen = []
    too_wide = 0
    for run in _runs(ground, at):
        able = _around(ground, run)
        # it has to open out there already, from a swale that hands could span
        opens = (width[able] >= usual[able]) & (usual[able] <= widest) & shown[able]
        able = able[opens & (width[able] <= widest)]
        if able.size:
            chosen.append(int(able[np.argmax(width[able])]))
        else:
            too_wide += bool((width[run] > widest).any())
    found = _of_places(trials, chosen, width, usual) if chosen else Placing()
    if not too_wide:
        return found
    note = (
        f"{counted(too_wide, 'place')} where a swale opens out to more than {metres(widest)} "
        "at once: too wide to span by hand."
    )
    return Placing(found.proposals, (note, *found.notes))


def floor_width_m(ground: Ground) -> FloatArray:
    """Width of the floor at each station: the low ground of the typical section there, m.

    Median of five stations in a row along the water's way.
    """
    return _along(ground, ground.low_width_m, 2)


def _along(ground: Ground, values: FloatArray, steps: int) -> FloatArray:
    """Median over so many stations each way, those without a value left out."""
    rows = [values]
    for step in (ground.station_below, ground.station_above):
        at = np.arange(values.size)
        for _ in range(steps):
            at = np.where(at >= 0, step[at], -1)
            rows.append(np.where(at >= 0, values[at], np.nan))
    table = np.stack(rows)
    some = np.isfinite(table).any(axis=0)
    out = np.full(values.size, np.nan)
    out[some] = np.nanmedian(table[:, some], axis=0)
    return out


def _usual_width_m(ground: Ground, width: FloatArray) -> FloatArray:
    """Width of the same swale around: median over a longer stretch both ways."""
    far = ground.rules.value("swale.compare")
    return _along(ground, width, max(3, round(far / station_spacing_m(ground))))


def _runs(ground: Ground, at: IntArray) -> list[IntArray]:
    """Neighbouring stations of one reach; a run is at least as long as the rule says."""
    if not at.size:
        return []
    s = ground.stations
    cuts = np.flatnonzero((np.diff(at) > 2) | (np.diff(s.reach[at]) != 0)) + 1
    least = ground.rules.value("swale.length")
    runs = np.split(at, cuts)
    return [r for r in runs if s.station_m[r[-1]] - s.station_m[r[0]] >= least]


def _around(ground: Ground, run: IntArray) -> IntArray:
    """A run and a few stations at its ends, where the floor begins to open."""
    reach = ground.stations.reach
    wider = np.arange(max(0, run[0] - ENDS), min(reach.size, run[-1] + ENDS + 1))
    return np.asarray(wider[reach[wider] == reach[run[0]]])


def _of_places(trials: Trials, chosen: list[int], width: FloatArray, usual: FloatArray) -> Placing:
    ground = trials.ground
    s = ground.stations
    survey = StationSurvey.of(trials, chosen)
    taken = Spots(BESIDE_M)
    refused: dict[str, int] = {}
    out = []
    for i in chosen:
        x, y, row = float(s.x_m[i]), float(s.y_m[i]), survey.row(i)
        if not taken.clear(x, y) or not survey.clear(row):
            continue
        # it has to span the whole floor, which shows where banks do not
        floor_m = float(width[i])
        decision = survey.decide(survey.spot(row, SLOW_AND_SPREAD, floor_m=floor_m))
        if decision.type is None:
            why = decision.why_short
            refused[why] = refused.get(why, 0) + 1
            continue
        taken.add(x, y)
        found = (
            f"The swale opens out here: its floor is {metres(floor_m)} wide, against "
            f"{metres(usual[i])} around; it falls {percent(survey.slope(row))} and "
            f"{hectares(s.drainage_area_ha[i])} drain to it."
        )
        caution = "See on site that the floor is grown over and no bank is cut."
        out.append(
            Proposal(
                where=at_station(ground, i),
                task=SLOW_AND_SPREAD,
                confidence=CONFIDENCE,
                words=Words(found, cautions=(caution,)),
                floor_m=floor_m,
            )
        )
    notes = tuple(
        f"{counted(count, 'place')} where a swale opens out without a structure: {why}"
        for why, count in refused.items()
    )
    return Placing(tuple(out), notes)
