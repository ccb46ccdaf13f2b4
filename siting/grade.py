"""Grade control in series: low structures that hold and raise the bed of an incised reach."""

from __future__ import annotations

import numpy as np

from siting.channel_size import ChannelSize, channel_size
from siting.ground import BoolArray, FloatArray, Ground, IntArray
from siting.places import LOG_MAT, ONE_ROCK_DAM, Place, Placed, Spots
from siting.site_floods import FloodGauge
from siting.spacing import one_rock_spacing_m
from siting.spreading import station_spacing_m
from siting.wording import counted, hectares, metres, percent

#: Two flow paths side by side on one wide floor get one series between them, m.
BESIDE_M = 10.0
#: Depth that is taken as fully sure, in multiples of its error.
SURE_ERRORS = 8.0


def place_series(ground: Ground, gauge: FloodGauge, placed: Placed, *, division: str) -> None:
    """Add the first structures of a series to each reach that calls for one.

    A stretch calls for a series where the elevations show banks well above the bankfull depth,
    within the limits of hand work, away from headcuts and their pairs, fans, ponds and fills.
    Places run from the stretch's lower end up, at the stated spacing, in straight channel.
    """
    stations, rules = ground.stations, ground.rules
    open_to = np.flatnonzero(_within_limits(ground) & ~_near_heads(ground, placed))
    if not open_to.size:
        return
    size = channel_size(
        stations.drainage_area_ha[open_to],
        slope=stations.slope[open_to],
        bank_width_m=stations.bank_width_m[open_to],
        bank_depth_m=stations.bank_depth_m[open_to],
        q2_m3s=gauge.peak(stations.cell[open_to], 2.0),
        rules=rules,
        division=division,
    )
    ratio = stations.bank_depth_m[open_to] / size.bankfull_depth_m
    incised = ratio >= rules.value("series.bank_height_ratio")
    bends = _turn_deg(ground)[open_to] > rules.value("series.bend")
    left_out = 0
    others = Spots(BESIDE_M)
    for run in _runs(ground, open_to, incised):
        left_out += _place_run(ground, open_to, run, size, bends, placed, others)
    if left_out:
        placed.notes.append(
            f"Series list their lowest structures only; {counted(left_out, 'more place')} "
            "would follow up the same reaches as these fill."
        )


def _within_limits(ground: Ground) -> BoolArray:
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
    slope = s.slope
    gentle = slope + rules.value("measuring.slope_error") <= rules.high("series.slope")
    sloping = slope - rules.value("measuring.slope_error") >= rules.low("series.slope")
    small = s.drainage_area_ha <= rules.high("hand_work.drainage_area")
    ok = s.width_resolved & deep_enough & shallow & narrow & gentle & sloping & small & ~s.is_fan
    at = np.flatnonzero(ok)
    cells = s.cell[at]
    ok[at] = (
        ground.inside(cells)
        & ~ground.cut.is_cut(cells)
        & ~ground.under_water(cells)
        & ~ground.near_dam(s.x_m[at], s.y_m[at])
    )
    return ok


def _near_heads(ground: Ground, placed: Placed) -> BoolArray:
    """Stations at the face of a headcut, in the stretch of its pair, or by another site."""
    s, heads, rules = ground.stations, ground.headcuts, ground.rules
    near = np.zeros(s.size, dtype=np.bool_)
    reach_m = rules.high("pair.distance") * heads.headcut_height_m + heads.face_length_m
    places = [(p.cell, 10.0) for p in placed.places]
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


def _runs(ground: Ground, open_to: IntArray, incised: BoolArray) -> list[IntArray]:
    """Stretches of neighbouring stations, as positions in ``open_to``; gaps of one are bridged."""
    at = np.flatnonzero(incised)
    if not at.size:
        return []
    station = open_to[at]
    reach = ground.stations.reach[station]
    cuts = np.flatnonzero((np.diff(station) > 2) | (np.diff(reach) != 0)) + 1
    runs = np.split(at, cuts)
    along = ground.stations.station_m
    least = ground.rules.value("series.length")
    return [r for r in runs if along[open_to[r[-1]]] - along[open_to[r[0]]] >= least]


def _place_run(
    ground: Ground,
    open_to: IntArray,
    run: IntArray,
    size: ChannelSize,
    bends: BoolArray,
    placed: Placed,
    others: Spots,
) -> int:
    """Place one series from its lower end up; return how many places are left out."""
    s, rules = ground.stations, ground.rules
    low, high = (
        rules.low("grade_control.spacing_widths"),
        rules.high("grade_control.spacing_widths"),
    )
    spots: list[tuple[int, float]] = []
    next_m = float(s.station_m[open_to[run[0]]])
    for j in run:
        i = int(open_to[j])
        beside = not others.clear(float(s.x_m[i]), float(s.y_m[i]))
        if s.station_m[i] < next_m - 1e-9 or bends[j] or beside:
            continue
        spacing = float(
            one_rock_spacing_m(
                size.height_m[j],
                s.slope[i],
                width_m=size.bankfull_width_m[j],
                widths=(low, high),
                k=rules.value("grade_control.wedge_share"),
            )
        )
        spots.append((int(j), spacing))
        next_m = float(s.station_m[i]) + spacing
    if not spots:
        return 0
    for j, _ in spots:
        others.add(float(s.x_m[open_to[j]]), float(s.y_m[open_to[j]]))
    most = int(rules.value("series.most"))
    group = placed.new_group() if len(spots) > 1 else 0
    length = float(s.station_m[open_to[run[-1]]] - s.station_m[open_to[run[0]]])
    for order, (j, spacing) in enumerate(spots[:most], start=1):
        i = int(open_to[j])
        mat = _is_log_mat(ground, i)
        placed.places.append(
            Place(
                cell=int(s.cell[i]),
                section_cell=int(s.cell[i]),
                reach=int(s.reach[i]),
                station_m=float(s.station_m[i]),
                control="grade",
                structure=LOG_MAT if mat else ONE_ROCK_DAM,
                slope=float(s.slope[i]),
                confidence=_sureness(ground, float(s.bank_depth_m[i])),
                reason=_reason(ground, i, length, len(spots), order, spacing, mat),
                cautions=tuple(_cautions(ground, i, order)),
                group=group,
                build_order=order if group else 0,
            )
        )
    return max(0, len(spots) - most)


def _is_log_mat(ground: Ground, i: int) -> bool:
    s, rules = ground.stations, ground.rules
    return bool(
        s.bank_depth_m[i] <= rules.value("log_mat.bank_depth")
        and s.bank_width_m[i] >= rules.value("log_mat.width_over_depth") * s.bank_depth_m[i]
        and s.slope[i] <= rules.value("log_mat.gradient")
    )


def _sureness(ground: Ground, depth_m: float) -> float:
    """How sure the incision is: its depth against its error."""
    error = ground.rules.value("measuring.height_error_least") * max(1.0, ground.raster.grid.cell_m)
    return float(np.clip(depth_m / (SURE_ERRORS * error), 0.0, 1.0))


def _reason(
    ground: Ground, i: int, length: float, count: int, order: int, spacing: float, mat: bool
) -> str:
    s = ground.stations
    first = (
        f"The channel is cut {metres(s.bank_depth_m[i])} deep and {metres(s.bank_width_m[i])} wide "
        f"over {metres(length)} at a slope of {percent(s.slope[i])}; "
        f"{hectares(s.drainage_area_ha[i])} drain to it. "
    )
    widths = ground.rules["grade_control.spacing_widths"]
    share = ground.rules.value("grade_control.wedge_share")
    kind = (
        "Low banks and a wide floor suit a log mat, which holds and slowly raises the bed."
        if mat
        else "A line of one-rock dams holds the bed and lets it rise."
    )
    place = (
        f" Number {order} of {count} from the lower end up, {metres(spacing)} to the next "
        f"(middle of {widths.low:g} to {widths.high:g} bankfull widths, held between head-to-toe "
        f"and a deposit that takes {100 * share:.0f} % of the bed slope)."
        if count > 1
        else ""
    )
    return first + kind + place


def _cautions(ground: Ground, i: int, order: int) -> list[str]:
    s, rules = ground.stations, ground.rules
    out = []
    if order == 1:
        out.append("Start on a stable base (rock, a junction, a sill): check its foot.")
    if s.drainage_area_ha[i] > rules.low("hand_work.drainage_area"):
        out.append(
            f"More than {hectares(rules.low('hand_work.drainage_area'))} drain to it: "
            "have the design reviewed."
        )
    if s.bank_width_m[i] > rules.low("hand_work.channel_width"):
        out.append("The channel is wide: it takes much material.")
    return out
