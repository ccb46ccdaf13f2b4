"""Vertical control: what stops a headcut.

A structure at a headcut is never alone: see `siting.layout.pairs`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from siting.channels.headcut_measures import HeadMeasures, measure_heads
from siting.layout.measuring import Decision, SpotMaker
from siting.layout.pairs import Pairs
from siting.layout.proposals import ENGINEER, MORE_ELEVATIONS, Place, Placed
from siting.structures.limit_checks import AREA_RULE
from siting.structures.structure_type import Check
from siting.values.wording import counted, hectares, metres, percent, sentences

KEEP_OFF = "Keep off the lip and the foot: it may fall without warning."


def place_at_headcuts(maker: SpotMaker, placed: Placed) -> None:
    """Add a site at each headcut that is sure enough, with its grade control below."""
    ground = maker.ground
    heads, rules = ground.headcuts, ground.rules
    sure = heads.confidence >= rules.value("measuring.least_confidence")
    wanted = np.flatnonzero(sure & (heads.reach >= 0) & ground.inside(heads.cell))
    if not wanted.size:
        return
    heads_at = measure_heads(ground, wanted)
    hillside = heads_at.slope > rules.value("refer.slope")
    measured = maker.measure(heads.cell[wanted], heads_at.section_cell)
    keep = maker.keep_off(heads.cell[wanted])
    stands: list[tuple[int, Place]] = []
    for k in np.flatnonzero(~hillside):
        spot = maker.spot(
            measured,
            int(k),
            purpose="vertical",
            slope=float(heads_at.slope[k]),
            drop_m=float(heads_at.height_m[k]),
        )
        place = _place_head(maker, heads_at, int(k), maker.decide(spot), keep[k])
        if place.control == "refer":
            placed.places.append(place)
        else:
            stands.append((int(k), place))
    Pairs(maker, heads_at, [k for k, _ in stands]).place(stands, placed)
    if hillside.any():
        placed.notes.append(
            f"{counted(int(hillside.sum()), 'headcut')} in beds steeper than "
            f"{percent(rules.value('refer.slope'))} belong to the hillside: no site there."
        )


def _place_head(
    maker: SpotMaker, m: HeadMeasures, k: int, decision: Decision, keep: tuple[Check, ...]
) -> Place:
    """Decide what stands at one headcut."""
    ground = maker.ground
    heads, i = ground.headcuts, int(m.index[k])
    found = (
        f"The bed drops {metres(m.height_m[k])} here within "
        f"{metres(max(heads.face_length_m[i], ground.raster.grid.cell_m))}; "
        f"{'at least ' if m.cut_off[k] else ''}{hectares(m.area_ha[k])} drain over it."
    )
    above = float(heads.incision_above_m[i])
    base: dict[str, Any] = {
        "cell": int(heads.cell[i]),
        "section_cell": int(m.section_cell[k]),
        "reach": int(heads.reach[i]),
        "station_m": float(heads.station_m[i]),
        "slope": float(m.slope[k]),
        "confidence": float(heads.confidence[i]),
        "headcut": i,
        "headcut_height_m": float(m.height_m[k]),
        "above_m": above,
        "heads_below": int(m.heads_below[k]),
        "decision": decision,
        "checks": keep,
    }
    near = [check.why_not for check in keep if not check.passed]
    if decision.type is None or near:
        return _referred(decision, near, found, base)
    whole = (
        f"The channel above is only {metres(max(above, 0.0))} deep: ground that is still whole "
        "would be lost as the drop moves up."
        if above < 0.5 * m.bank_depth_m[k] and above < ground.rules.value("series.incision")
        else ""
    )
    return Place(
        control=decision.type.control,
        structure=decision.type.name,
        reason=sentences([found, whole, decision.type.summary]),
        cautions=tuple(_cautions(maker, m, k)),
        **base,
    )


def _referred(decision: Decision, near: list[str], found: str, base: dict[str, Any]) -> Place:
    """A headcut that is not for hands, or not before more is known."""
    why = [c.why_not for c in decision.failed] or list(decision.nearest_why_not)
    return Place(
        control="refer",
        structure=referral(decision, near),
        reason=sentences([found, *near, *(why if decision.type is None else ())]),
        cautions=(KEEP_OFF,),
        **base,
    )


def referral(decision: Decision, near: Sequence[str]) -> str:
    """Say what a place needs that is referred: an engineer, or only more elevations.

    Parameters
    ----------
    decision
        What the structure types say.
    near
        What the place is too near to, in sentences.
    """
    failed = decision.failed
    only_area = bool(failed) and all(c.rule == AREA_RULE for c in failed) and not near
    return MORE_ELEVATIONS if only_area and decision.type is None else ENGINEER


def _cautions(maker: SpotMaker, m: HeadMeasures, k: int) -> list[str]:
    """What the headcut itself asks care for; the type adds its own."""
    rules = maker.ground.rules
    out = []
    if m.height_m[k] < rules.high("measuring.smallest_drop"):
        out.append("A drop this low is near what the elevations can show: look first.")
    if bool(maker.ground.headcuts.is_side[int(m.index[k])]):
        out.append("It works back from the side of a larger channel: see that the foot holds.")
    return out
