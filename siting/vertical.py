"""Vertical control: what stops a headcut.

A structure at a headcut is never alone: see `siting.pairs`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from siting.ground import Ground
from siting.head_measures import HeadMeasures, measure_heads
from siting.pairs import pair_of
from siting.places import (
    ENGINEER,
    LOG_DROP,
    MORE_ELEVATIONS,
    ROCK_BOWL,
    ROCK_RUNDOWN,
    Place,
    Placed,
)
from siting.wording import counted, hectares, metres, percent, sentences


def place_at_headcuts(ground: Ground, placed: Placed) -> None:
    """Add a site at each headcut that is sure enough, with its grade control below."""
    heads = ground.headcuts
    sure = heads.confidence >= ground.rules.value("measuring.least_confidence")
    wanted = np.flatnonzero(sure & (heads.reach >= 0) & ground.inside(heads.cell))
    if not wanted.size:
        return
    measured = measure_heads(ground, wanted)
    hillside = measured.slope > ground.rules.value("refer.slope")
    for k in np.flatnonzero(~hillside):
        _place_head(ground, measured, int(k), placed)
    if hillside.any():
        placed.notes.append(
            f"{counted(int(hillside.sum()), 'headcut')} in beds steeper than "
            f"{percent(ground.rules.value('refer.slope'))} belong to the hillside: no site there."
        )


def _place_head(ground: Ground, m: HeadMeasures, k: int, placed: Placed) -> None:
    """Decide what stands at one headcut."""
    heads, i = ground.headcuts, int(m.index[k])
    found = (
        f"The bed drops {metres(m.height_m[k])} here within "
        f"{metres(max(heads.face_length_m[i], ground.raster.grid.cell_m))}; "
        f"{'at least ' if m.cut_off[k] else ''}{hectares(m.area_ha[k])} drain over it."
    )
    above = heads.incision_above_m[i]
    whole = (
        f"The channel above is only {metres(max(above, 0.0))} deep: ground that is still whole "
        "would be lost as the drop moves up."
        if above < 0.5 * m.bank_depth_m[k]
        else ""
    )
    base = {
        "cell": int(heads.cell[i]),
        "section_cell": int(m.section_cell[k]),
        "reach": int(heads.reach[i]),
        "station_m": float(heads.station_m[i]),
        "slope": float(m.slope[k]),
        "confidence": float(heads.confidence[i]),
        "headcut": i,
        "headcut_height_m": float(m.height_m[k]),
        "above_m": float(above),
        "heads_below": int(m.heads_below[k]),
    }
    beyond = _beyond_hand_work(ground, m, k)
    if beyond:
        structure = MORE_ELEVATIONS if m.cut_off[k] and len(beyond) == 1 else ENGINEER
        reason = sentences([found, *beyond])
        safety = ("Keep off the lip and the foot: it may fall without warning.",)
        placed.places.append(
            Place(control="refer", structure=structure, reason=reason, cautions=safety, **base)  # type: ignore[arg-type]
        )
        return
    structure, why = _structure(ground, m, k)
    cautions = _cautions(ground, m, k, structure)
    pair, no_pair = pair_of(ground, m, k, structure)
    group = placed.new_group() if pair else 0
    placed.places.append(
        Place(
            control="vertical",
            structure=structure,
            reason=sentences([found, whole, why]),
            cautions=(*cautions, no_pair),
            group=group,
            build_order=2 if pair else 0,
            **base,  # type: ignore[arg-type]
        )
    )
    if pair is not None:
        placed.places.append(replace(pair, group=group))


def _beyond_hand_work(ground: Ground, m: HeadMeasures, k: int) -> list[str]:
    """Say why a headcut is not for hand work; each limit at the unfavourable end of its error."""
    rules = ground.rules
    out = []
    drop, limit = m.height_m[k], rules.high("hand_work.drop")
    error = float(ground.height_error_m(drop))
    if drop > limit:
        out.append(f"That is above the {metres(limit)} that hands should build.")
    elif drop + error > limit:
        out.append(
            f"With the error of the elevations ({metres(error)}) the drop may pass the "
            f"{metres(limit)} that hands should build: measure it, then ask."
        )
    slope, steep = m.slope[k], rules.high("hand_work.gradient")
    if slope + rules.value("measuring.slope_error") > steep:
        out.append(
            f"The bed falls {percent(slope)}: at or above the {percent(steep)} that is the limit "
            "of hand work, within the error of a slope."
            if slope <= steep
            else f"The bed falls {percent(slope)}, too steep for hand work ({percent(steep)})."
        )
    depth, deep = m.bank_depth_m[k], rules.high("one_rock_dam.channel_depth")
    if depth + float(ground.height_error_m(depth)) > deep and drop <= limit:
        out.append(
            f"The channel below is {metres(depth)} deep; past {metres(deep)} neither crew nor "
            "structure is safe without an engineer."
        )
    area, large = m.area_ha[k], rules.high("hand_work.drainage_area")
    if area > large:
        out.append(f"More than {hectares(large)} drain to it: ask an engineer.")
    if m.cut_off[k]:
        out.append(
            "The raster's edge cuts its drainage area, so the flow is unknown: complete the DEM, "
            "or ask an engineer."
        )
    return out


def _structure(ground: Ground, m: HeadMeasures, k: int) -> tuple[str, str]:
    """Choose what stops the drop."""
    rules = ground.rules
    drop = m.height_m[k] + float(ground.height_error_m(m.height_m[k]))
    area = m.area_ha[k]
    if drop <= rules.high("rock_rundown.drop") and area <= rules.high("rock_rundown.drainage_area"):
        return ROCK_RUNDOWN, (
            "Drop and drainage area are small: the face can be laid back and armoured with stone."
        )
    return ROCK_BOWL, (
        f"A bowl of stone stops the drop where it stands; where stone is scarce, a {LOG_DROP} of "
        "logs and fabric does the same."
    )


def _cautions(ground: Ground, m: HeadMeasures, k: int, structure: str) -> list[str]:
    rules = ground.rules
    out = []
    if m.height_m[k] > rules.low("hand_work.drop"):
        out.append(
            f"Above {metres(rules.low('hand_work.drop'))} hand work is hard: build it in two steps."
        )
    if m.slope[k] > rules.low("hand_work.gradient"):
        out.append(
            f"The bed falls {percent(m.slope[k])}, above the "
            f"{percent(rules.low('hand_work.gradient'))} that is plain hand work: "
            "set grade controls close together."
        )
    if m.area_ha[k] > rules.low("hand_work.drainage_area"):
        out.append(
            f"More than {hectares(rules.low('hand_work.drainage_area'))} drain to it: "
            "have the design reviewed."
        )
    if m.bank_width_m[k] > rules.low("hand_work.channel_width"):
        out.append("The channel is wide: it takes much stone.")
    if structure == ROCK_RUNDOWN and (
        m.height_m[k] > rules.low("rock_rundown.drop")
        or m.area_ha[k] > rules.low("rock_rundown.drainage_area")
    ):
        out.append("Large for a rundown: where the flow gathers, build a rock bowl instead.")
    if m.height_m[k] < rules.high("measuring.smallest_drop"):
        out.append("A drop this low is near what the elevations can show: look first.")
    if bool(ground.headcuts.is_side[int(m.index[k])]):
        out.append("It works back from the side of a larger channel: see that the foot holds.")
    return out
