"""The low grade control below each headcut, without which the structure above is undermined."""

from __future__ import annotations

import numpy as np

from siting.ground import Ground
from siting.head_measures import HeadMeasures
from siting.places import ONE_ROCK_DAM, ROCK_RUNDOWN, SPREADER, Place
from siting.wording import hectares, metres, percent

#: Banks lower than this below a rundown let the water spread, m (common practice).
OPEN_GROUND_M = 0.3


def pair_of(ground: Ground, m: HeadMeasures, k: int, structure: str) -> tuple[Place | None, str]:
    """Place the grade control below a headcut, or say why there is none."""
    rules, p, i = ground.rules, m.pair, int(m.index[k])
    if np.isfinite(p.next_drop_m[k]):
        return None, (
            f"No room for its own grade control: the next drop lies {metres(p.next_drop_m[k])} "
            "below the foot. Build the lower one first; step the two together."
        )
    if p.cell[k] < 0:
        return None, (
            "No place for a grade control below it: the channel leaves the raster before "
            f"{rules.low('pair.distance'):g} drop heights. Look for one on site."
        )
    cell = int(p.cell[k])
    if not bool(ground.inside(np.array([cell]))[0]):
        return None, "Its grade control would stand outside the ranch: agree with the neighbour."
    if ground.cut.is_cut(np.array([cell]))[0]:
        return None, (
            "It drops into a channel whose drainage area the raster cuts off: no grade control "
            "can be sized there. Complete the DEM."
        )
    area = float(ground.area_ha(np.array([cell]))[0])
    if area > rules.high("hand_work.drainage_area"):
        return None, (
            f"It drops into a channel that drains {hectares(area)}, too much for a hand-built "
            "grade control: see that that bed is stable."
        )
    slope, steep = float(p.slope[k]), rules.high("hand_work.gradient")
    if slope + rules.value("measuring.slope_error") > steep:
        return None, (
            f"No grade control below it: the bed falls {percent(slope)} there, too steep for a "
            "low structure. Ask an engineer if the foot is not on rock."
        )
    depth = float(p.bank_depth_m[k])
    deep = rules.high("one_rock_dam.channel_depth")
    if depth + float(ground.height_error_m(depth)) > deep:
        return None, (
            f"No grade control below it: the channel is {metres(depth)} deep there, past "
            f"{metres(deep)}. Have the pair reviewed."
        )
    opens = bool(p.is_fan[k]) or (np.isfinite(depth) and depth < OPEN_GROUND_M)
    spread = (
        opens
        and (structure == ROCK_RUNDOWN or bool(p.is_fan[k]))
        and slope <= rules.high("spreader.slope")
        and area <= rules.high("spreader.drainage_area")
    )
    fall = max(float(ground.headcuts.slope_below[i]), 0.0) * float(p.distance_m[k])
    place = Place(
        cell=cell,
        section_cell=cell,
        reach=int(p.reach[k]),
        station_m=float(p.station_m[k]),
        control="spread" if spread else "grade",
        structure=SPREADER if spread else ONE_ROCK_DAM,
        slope=slope,
        confidence=float(ground.headcuts.confidence[i]),
        reason=_pair_reason(m, k, spread),
        cautions=tuple(_pair_cautions(ground, m, k, slope, depth)),
        headcut=i,
        needed_height_m=np.nan if spread else fall,
        build_order=1,
        heads_below=int(m.heads_below[k]),
    )
    return place, ""


def _pair_reason(m: HeadMeasures, k: int, spread: bool) -> str:
    where = (
        f"{metres(m.pair.distance_m[k])} below the foot of the {metres(m.height_m[k])} drop "
        f"({m.pair.distance_m[k] / m.height_m[k]:.1f} drop heights)"
    )
    if spread:
        return f"Spreads the water {where}, where the channel opens, before it gathers again."
    return (
        f"Holds the bed {where} and backs water to the foot; without it the drop's structure is "
        "undermined."
    )


def _pair_cautions(
    ground: Ground, m: HeadMeasures, k: int, slope: float, depth: float
) -> list[str]:
    rules = ground.rules
    out = []
    gentle = rules.low("hand_work.gradient")
    if slope > gentle:
        out.append(
            f"The bed falls {percent(slope)}, above {percent(gentle)}: several, close together."
        )
    shallow = rules.low("one_rock_dam.channel_depth")
    if depth + float(ground.height_error_m(depth)) > shallow:
        out.append(
            f"The channel is {metres(depth)} deep: past the {metres(shallow)} of plain hand work, "
            "or within the error of it. Have it reviewed, and never work below an undercut bank."
        )
    if m.pair.bank_width_m[k] > rules.low("hand_work.channel_width"):
        out.append("The channel is wide: it takes much stone.")
    return out
