"""Spreading: bands of stone that turn a concentrated flow back into sheet flow.

They go where a gully ends: on a fan, where no side rises above the bed, or on the open floor of a
swale, where the banks fade out and stay low.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from siting.channels.ground import Ground
from siting.layout.measuring import Trials
from siting.layout.proposals import Member, Placing, Proposal, Spots, Words, at_station
from siting.layout.station_survey import StationSurvey
from siting.places.spot import Task
from siting.values.wording import hectares, percent
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: A fan is told from the lack of banks, a gully's end from banks that fade: look before planning.
FAN_CONFIDENCE, END_CONFIDENCE = 0.6, 0.5
#: Share of the water at a gully's end that comes over one headcut above it, at least (common
#: practice, no published source): fed by less, the gully's head is elsewhere.
FED_SHARE = 0.25
#: Stretches over which a gully must be deep above its end, and stay open below it, m (common
#: practice, no published source).
GULLY_STRETCH_M, OPEN_STRETCH_M = 60.0, 40.0
#: Banks this much higher than the lowest on the open stretch are still fading, m.
FADING_M = 0.08
#: What such a place asks of a structure.
SPREAD = Task("spread", opens=True)


def place_spreaders(trials: Trials, others: Sequence[Proposal]) -> Placing:
    """Propose spreaders where the gully below a headcut ends, the first at the upper end.

    Parameters
    ----------
    trials
        Measures and decides.
    others
        Places that are proposed already.
    """
    ground = trials.ground
    rules, s = ground.rules, ground.stations
    if s.size < 2:
        return Placing()
    runs = [(run[::-1], FAN_CONFIDENCE) for run in _fan_runs(ground)]
    runs += [(run, END_CONFIDENCE) for run in _end_runs(ground)]
    largest = rules.high("spreader.drainage_area")
    fits = _fits(ground)
    taken = Spots(0.5 * rules.value("spreader.apart"))
    for other in others:
        x, y = ground.raster.grid.xy_of(other.where.cell)
        taken.add(float(x), float(y))
    too_large = 0
    open_to: list[tuple[IntArray, float]] = []
    out: list[Proposal] = []
    for run, confidence in runs:
        if not _below_headcut(ground, int(run[0])):
            continue
        if float(s.drainage_area_ha[run].min()) > largest:
            too_large += int(bool(ground.inside(s.cell[run]).any()))
            continue
        open_to.append((run[fits[run]], confidence))
    if any(run.size for run, _ in open_to):
        survey = StationSurvey.of(trials, np.concatenate([run for run, _ in open_to]))
        for number, (run, confidence) in enumerate(open_to, start=1):
            out += _of_run(survey, run, confidence, number, taken)
    notes: tuple[str, ...] = ()
    if too_large:
        notes = (
            f"Gully ends that get the water of more than {hectares(largest)}: {too_large}; too "
            "much to spread by hand, so they get no site.",
        )
    return Placing(tuple(out), notes)


def _below_headcut(ground: Ground, i: int) -> bool:
    """Whether a sure headcut feeds a station with a good part of its water."""
    s, heads = ground.stations, ground.headcuts
    fed = ground.catchments.contains(int(s.cell[i]), heads.cell)
    fed &= heads.confidence >= ground.rules.value("measuring.least_confidence")
    return bool((heads.drainage_area_ha[fed] >= FED_SHARE * s.drainage_area_ha[i]).any())


def _fan_runs(ground: Ground) -> list[IntArray]:
    """Stations of each fan within a reach, from the lower end up."""
    on_fan = np.flatnonzero(ground.stations.is_fan)
    if not on_fan.size:
        return []
    cuts = np.flatnonzero((np.diff(on_fan) > 1) | (np.diff(ground.stations.reach[on_fan]) != 0))
    return np.split(on_fan, cuts + 1)


def _end_runs(ground: Ground) -> list[IntArray]:
    """Open stations below each gully's end, from the end down."""
    s, rules = ground.stations, ground.rules
    depth = _steady_depth(ground)
    open_m = rules.value("spreader.open_depth")
    spacing = station_spacing_m(ground)
    above = _chain(ground.station_above, max(2, round(GULLY_STRETCH_M / spacing)))
    below = _chain(ground.station_below, max(2, round(OPEN_STRETCH_M / spacing)))
    up = np.where(above >= 0, depth[above], 0.0)
    down = np.where(below >= 0, depth[below], np.inf)
    ends = (
        (depth < open_m)
        & (up[0] >= open_m)
        & (up[: len(up) // 2].mean(axis=0) >= open_m)
        & (up.max(axis=0) >= rules.value("spreader.gully_depth"))
        & (down.max(axis=0) < open_m)
        & ~s.is_fan
    )
    runs = [np.concatenate([[i], below[:, i]]) for i in np.flatnonzero(ends)]
    return [run[depth[run] <= depth[run].min() + FADING_M] for run in runs]


def station_spacing_m(ground: Ground) -> float:
    """Usual distance between stations, m."""
    s = ground.stations
    along = np.diff(s.station_m)[np.diff(s.reach) == 0]
    return float(np.median(along)) if along.size else 5.0


def _steady_depth(ground: Ground) -> FloatArray:
    """Bank depth as the median of each station and its neighbours; 0 where no bank is seen."""
    depth = np.nan_to_num(ground.stations.bank_depth_m)
    sides = [
        np.where(way >= 0, depth[way], depth)
        for way in (ground.station_below, ground.station_above)
    ]
    return np.asarray(np.median([sides[0], depth, sides[1]], axis=0))


def _chain(next_one: IntArray, steps: int) -> IntArray:
    """Follow pointers from every station; shape ``(steps, n)``, -1 where they end."""
    out = np.empty((steps, next_one.size), dtype=np.int64)
    at = np.arange(next_one.size)
    for k in range(steps):
        at = np.where(at >= 0, next_one[at], -1)
        out[k] = at
    return out


def _fits(ground: Ground) -> BoolArray:
    """Stations whose ground suits a spreader; limits at the unfavourable end of the error."""
    s, rules = ground.stations, ground.rules
    error = rules.value("measuring.slope_error")
    ok: BoolArray = (
        (s.drainage_area_ha <= rules.high("spreader.drainage_area"))
        & (s.slope + error <= rules.high("spreader.slope"))
        & (s.slope >= rules.low("spreader.slope"))
        & ground.inside(s.cell)
        & ~ground.cut.is_cut(s.cell)
        & ~ground.under_water(s.cell)
        & ~ground.near_dam(s.x_m, s.y_m)
    )
    return ok


def _of_run(
    survey: StationSurvey, run: IntArray, confidence: float, number: int, taken: Spots
) -> list[Proposal]:
    """Spreaders of one run, from its upper end down; ``number`` is that of their group."""
    ground = survey.trials.ground
    s, rules = ground.stations, ground.rules
    apart = rules.value("spreader.apart")
    chosen: list[int] = []
    for i in run:
        x, y = float(s.x_m[i]), float(s.y_m[i])
        far = all(np.hypot(s.x_m[j] - x, s.y_m[j] - y) >= apart for j in chosen)
        if far and taken.clear(x, y):
            chosen.append(int(i))
    fitting = [i for i in chosen[: int(rules.value("spreader.most"))] if _fits_at(survey, i)]
    group = number if len(fitting) > 1 else 0
    for i in fitting:
        taken.add(float(s.x_m[i]), float(s.y_m[i]))
    return [
        Proposal(
            where=at_station(ground, i),
            task=SPREAD,
            confidence=confidence,
            words=Words(_reason(survey, i, bool(s.is_fan[i])), says_all=True),
            member=Member(group, order if group else 0),
        )
        for order, i in enumerate(fitting, start=1)
    ]


def _fits_at(survey: StationSurvey, station: int) -> bool:
    """Whether a type fits a station, and nothing that is kept clear lies too near."""
    row = survey.row(station)
    return survey.decide(survey.spot(row, SPREAD)).type is not None and survey.clear(row)


def _reason(survey: StationSurvey, i: int, fan: bool) -> str:
    s, slope = survey.trials.ground.stations, survey.slope(survey.row(i))
    open_ground = (
        "A gully ends here on a fan: no side stands above the bed"
        if fan
        else "A gully ends here: its banks fade out on the open floor"
    )
    return (
        f"{open_ground}, which falls {percent(slope)}; {hectares(s.drainage_area_ha[i])} "
        "drain to it. A band level across, tips pointing down, spreads the water before it cuts "
        "again."
    )
