"""Grade control in series: low structures that hold and raise the bed of an incised reach.

Series belong where a channel still cuts or begins to widen (stages 2 and early 3). One that may be
filling again gets none: `siting.layout.healing` lists it. Nor does one that has widened far.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from siting.channels.channel_reading import ChannelReading
from siting.channels.ground import Ground
from siting.channels.reach_settings import CUT_SETTINGS
from siting.layout.fans import station_spacing_m
from siting.layout.healing import healing_reaches, healing_stations
from siting.layout.measuring import Trials
from siting.layout.proposals import Member, Placing, Proposal, Spots, Words, at_station
from siting.layout.station_survey import StationSurvey
from siting.places.spot import Spot, Task
from siting.structures.spacing_table import default_spacing_m
from siting.values.wording import counted, hectares, metres, percent
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: Two flow paths side by side on one wide floor get one series between them, m.
BESIDE_M = 10.0
#: Depth that is taken as fully sure, in multiples of its error.
SURE_ERRORS = 8.0
#: Stages that get a series: not known, cutting down, and widening where it begins.
STAGES = (0, 2, 3)
#: What each place of a series asks of a structure.
IN_SERIES = Task("grade")


@dataclass(slots=True)
class _Left:
    """What was left out, to be told in the notes."""

    further: int = 0
    refused: dict[str, int] = field(default_factory=dict)
    near: int = 0
    stage: int = 0


def place_series(trials: Trials, reading: ChannelReading, others: Sequence[Proposal]) -> Placing:
    """Propose the first structures of a series to each reach that calls for one.

    A stretch calls for a series where the elevations show banks well above the bankfull depth (or
    simply deep, where no flow tells bankfull), in a channel that cuts or begins to widen, within
    the limits of hand work, away from headcuts and their pairs, swales, fans, ponds, roads and
    fills. Stretches that may be filling again are listed instead. Places run from the stretch's
    lower end up, at the stated spacing, in straight channel.

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
    rules = ground.rules
    # where bankfull is not known, the depth that `within_limits` asks for has to do
    low = reading.bank_height_ratio < rules.value("series.bank_height_ratio")
    able = within_limits(ground)
    s = ground.stations
    # listed also where a series would be past the limits of hand work
    healing = s.width_resolved & ground.inside(s.cell) & healing_stations(ground, reading)
    look_first = healing_reaches(ground, reading, healing)
    with np.errstate(invalid="ignore"):
        early = s.bank_width_m <= rules.value("series.width_depth") * s.bank_depth_m
    cut = np.isin(reading.setting, CUT_SETTINGS) & np.isin(reading.stage, STAGES)
    calls = able & ~low & ~healing & cut
    notes = _widened(ground, calls & ~early)
    open_to = np.flatnonzero(calls & early & ~near_places(ground, others))
    runs = _runs(ground, open_to)
    if not runs:
        return Placing(notes=notes, look_first=look_first)
    straight = _turn_deg(ground) <= rules.value("series.bend")
    stations = np.concatenate(runs)
    survey = StationSurvey.of(trials, stations[straight[stations]])
    left = _Left()
    taken = Spots(BESIDE_M)
    out: list[Proposal] = []
    for number, run in enumerate(runs, start=1):
        out += _of_run(survey, run, number, taken, left)
    return Placing(tuple(out), (*notes, *_told(left)), look_first)


def _widened(ground: Ground, stations: BoolArray) -> tuple[str, ...]:
    """Say how much of the channel has widened too far for a series."""
    count = int(np.count_nonzero(stations))
    if not count:
        return ()
    length = count * station_spacing_m(ground)
    most = ground.rules.value("series.width_depth")
    return (
        f"{metres(length)} of incised channel are more than {most:g} times as wide as deep: they "
        "widen on, and get no series; a low structure there is soon outflanked.",
    )


def _told(left: _Left) -> tuple[str, ...]:
    notes = []
    if left.further:
        notes.append(
            f"Series list their lowest structures only; {counted(left.further, 'more place')} "
            "would follow up the same reaches as these fill."
        )
    if left.near:
        notes.append(
            f"{counted(left.near, 'place')} of a series left out near roads, ponds or what else "
            "is kept clear."
        )
    if left.stage:
        notes.append(
            f"{counted(left.stage, 'place')} of a series left out where the section shows a bench "
            "in the cut: it may be filling again."
        )
    for why, count in sorted(left.refused.items(), key=lambda item: -item[1])[:3]:
        places = "station" if count == 1 else "stations"
        notes.append(f"No series at {count} {places} of an incised reach: {why}")
    return tuple(notes)


def within_limits(ground: Ground) -> BoolArray:
    """Stations where a low structure may stand; limits at the unfavourable end of the error."""
    s, rules = ground.stations, ground.rules
    with np.errstate(invalid="ignore"):
        deep_enough = s.bank_depth_m - ground.height_error_m(s.bank_depth_m) >= rules.value(
            "series.incision"
        )
        shallow = s.bank_depth_m + ground.height_error_m(s.bank_depth_m) <= rules.low(
            "one_rock_dam.channel_depth"
        )
        narrow = s.bank_width_m <= rules.high("hand_work.channel_width")
    ok = s.width_resolved & deep_enough & shallow & narrow & gentle(ground) & ~s.is_fan
    return _usable(ground, ok)


def gentle(ground: Ground) -> BoolArray:
    """Stations whose slope and drainage area suit low structures."""
    s, rules = ground.stations, ground.rules
    error = rules.value("measuring.slope_error")
    out: BoolArray = (
        (s.slope + error <= rules.high("series.slope"))
        & (s.slope - error >= rules.low("series.slope"))
        & (s.drainage_area_ha <= rules.high("hand_work.drainage_area"))
    )
    return out


def _usable(ground: Ground, ok: BoolArray) -> BoolArray:
    """Of some stations those inside the ranch, with a whole area, off water and dams."""
    s = ground.stations
    at = np.flatnonzero(ok)
    cells = s.cell[at]
    ok[at] = (
        ground.inside(cells)
        & ~ground.cut.is_cut(cells)
        & ~ground.under_water(cells)
        & ~ground.near_dam(s.x_m[at], s.y_m[at])
    )
    return ok


def near_places(ground: Ground, others: Sequence[Proposal]) -> BoolArray:
    """Stations at the face of a headcut, in the stretch of its pair, or by another site."""
    s, heads, rules = ground.stations, ground.headcuts, ground.rules
    near = np.zeros(s.size, dtype=np.bool_)
    reach_m = rules.high("pair.distance") * heads.headcut_height_m + heads.face_length_m
    places = [(p.where.cell, 10.0) for p in others]
    spots = list(zip(heads.cell.tolist(), np.maximum(reach_m, 5.0).tolist(), strict=True)) + places
    for cell, far in spots:
        x, y = ground.raster.grid.xy_of(cell)
        near |= (np.abs(s.x_m - x) <= far) & (np.abs(s.y_m - y) <= far)
    return near


def _turn_deg(ground: Ground) -> FloatArray:
    """Turn of the channel at each station over two bank widths (at least 10 m) to each side."""
    s = ground.stations
    turn = np.zeros(s.size)
    if s.size < 3:
        return turn
    spacing = station_spacing_m(ground)
    steps = np.maximum(2, np.ceil(2 * np.nan_to_num(s.bank_width_m) / spacing)).astype(np.int64)
    here = np.arange(s.size)
    up, down = here + steps, here - steps
    whole = (down >= 0) & (up < s.size)
    up, down = np.minimum(up, s.size - 1), np.maximum(down, 0)
    whole &= (s.reach[up] == s.reach) & (s.reach[down] == s.reach)
    above = np.arctan2(s.x_m - s.x_m[up], s.y_m - s.y_m[up])
    below = np.arctan2(s.x_m[down] - s.x_m, s.y_m[down] - s.y_m)
    angle = np.abs((np.degrees(below - above) + 180.0) % 360.0 - 180.0)
    return np.where(whole, angle, 0.0)


def _runs(ground: Ground, open_to: IntArray) -> list[IntArray]:
    """Stretches of neighbouring stations; gaps of one are bridged, short ones left out."""
    if not open_to.size:
        return []
    reach, along = ground.stations.reach[open_to], ground.stations.station_m
    cuts = np.flatnonzero((np.diff(open_to) > 2) | (np.diff(reach) != 0)) + 1
    least = ground.rules.value("series.length")
    return [r for r in np.split(open_to, cuts) if along[r[-1]] - along[r[0]] >= least]


def _of_run(
    survey: StationSurvey, run: IntArray, number: int, taken: Spots, left: _Left
) -> list[Proposal]:
    """One series from its lower end up; ``number`` is that of its group."""
    ground = survey.trials.ground
    s = ground.stations
    found: list[tuple[int, Spot, float]] = []
    next_m = -np.inf
    for j in survey.rows(run):
        i = int(survey.station[j])
        beside = not taken.clear(float(s.x_m[i]), float(s.y_m[i]))
        if s.station_m[i] < next_m - 1e-9 or beside:
            continue
        if not survey.clear(int(j)):
            left.near += 1
            continue
        spot = survey.spot(int(j), IN_SERIES)
        if spot.form.stage not in STAGES:
            left.stage += 1
            continue
        decision = survey.decide(spot)
        if decision.size is None:
            why = decision.why_short
            left.refused[why] = left.refused.get(why, 0) + 1
            continue
        spacing = default_spacing_m(
            decision.size.height_m, spot.slope, spot.bankfull.width_m, ground.rules
        )
        found.append((i, spot, spacing))
        next_m = float(s.station_m[i]) + spacing
    for i, _, _ in found:
        taken.add(float(s.x_m[i]), float(s.y_m[i]))
    most = int(ground.rules.value("series.most"))
    group = number if len(found) > 1 else 0
    length = float(s.station_m[run[-1]] - s.station_m[run[0]])
    left.further += max(0, len(found) - most)
    return [
        Proposal(
            where=at_station(ground, i),
            task=IN_SERIES,
            confidence=sureness(ground, float(s.bank_depth_m[i])),
            words=Words(
                _found(ground, i, spot.slope, length),
                after=_order(ground, len(found), order, spacing),
                cautions=_cautions(order),
            ),
            member=Member(group, order if group else 0, in_series=True),
        )
        for order, (i, spot, spacing) in enumerate(found[:most], start=1)
    ]


def _cautions(order: int) -> tuple[str, ...]:
    if order > 1:
        return ()
    return ("Start on a stable base (rock, a junction, a sill): check its foot.",)


def sureness(ground: Ground, depth_m: float) -> float:
    """How sure the incision is: its depth against its error."""
    error = ground.rules.value("measuring.height_error_least") * max(1.0, ground.raster.grid.cell_m)
    return float(np.clip(depth_m / (SURE_ERRORS * error), 0.0, 1.0))


def _found(ground: Ground, i: int, slope: float, length: float) -> str:
    s = ground.stations
    return (
        f"The channel is cut {metres(s.bank_depth_m[i])} deep and {metres(s.bank_width_m[i])} wide "
        f"over {metres(length)}; it falls {percent(slope)} here; "
        f"{hectares(s.drainage_area_ha[i])} drain to it."
    )


def _order(ground: Ground, count: int, order: int, spacing: float) -> str:
    if count == 1:
        return ""
    widths = ground.rules["grade_control.spacing_widths"]
    share = ground.rules.value("grade_control.wedge_share")
    return (
        f"Number {order} of {count} from the lower end up, {metres(spacing)} to the next "
        f"(middle of {widths.low:g} to {widths.high:g} bankfull widths, held between head-to-toe "
        f"and a deposit that takes {100 * share:.0f} % of the bed slope)."
    )
