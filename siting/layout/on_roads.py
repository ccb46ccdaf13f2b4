"""Rolling dips as places of the plan: laid along the roads, decided by the structure types."""

from __future__ import annotations

import numpy as np

from siting.channels.ground import Ground
from siting.hydraulics.resistance import soils
from siting.layout.measuring import Trials, road_spot
from siting.layout.proposals import Member, OnRoad, Placing, Proposal, Where, Words
from siting.layout.road_dips import RoadDips, lay_road_dips
from siting.layout.road_spacing import ROLLING_DIP, RULE_SOURCES
from siting.places.spot import Task
from siting.structures.spacing_table import SpacingRow
from siting.values.wording import counted
from terrain.channels.network import HECTARE_M2

#: A dip is told from the road's grade alone: look at ruts and berms before planning.
CONFIDENCE = 0.6
#: What a place on a road asks of a structure.
TURN_OUT = Task("road", opens=True)


def place_on_roads(trials: Trials) -> Placing:
    """Propose a rolling dip wherever a given road carries water and a type for roads fits."""
    keep = trials.settings.keep
    if keep is None or not keep.roads.size:
        return Placing()
    told = soils().get(trials.settings.earth.soil)
    dips = lay_road_dips(keep, trials.ground, erosive=told is None or told.erosive)
    refused: dict[str, int] = {}
    out: list[Proposal] = []
    for stretch in np.unique(dips.stretch):
        own = np.flatnonzero(dips.stretch == stretch)
        group = int(stretch) if own.size > 1 else 0
        for i in own:
            proposal = _proposal(trials.ground, dips, int(i), group)
            complete = not bool(trials.ground.cut.is_cut(dips.cell[i : i + 1])[0])
            decision = trials.decide(road_spot(trials.meter, proposal, area_complete=complete))
            if decision.type is not None:
                out.append(proposal)
                continue
            why = decision.why_short
            refused[why] = refused.get(why, 0) + 1
    notes = (
        f"{counted(count, 'place')} for a dip on a road left out: {why}"
        for why, count in refused.items()
    )
    return Placing(tuple(out), (*dips.notes, *notes))


def _proposal(ground: Ground, dips: RoadDips, i: int, group: int) -> Proposal:
    cell = int(dips.cell[i])
    x, y = ground.raster.grid.xy_of(cell)
    return Proposal(
        where=Where(cell, cell, float(x), float(y)),
        task=TURN_OUT,
        slope=float(dips.grade[i]),
        confidence=CONFIDENCE,
        words=Words(str(dips.reason[i]), cautions=tuple(dips.cautions[i]), says_all=True),
        member=Member(group, int(dips.order[i]) if group else 0),
        road=OnRoad(
            azimuth_deg=float(dips.azimuth_deg[i]),
            grade_error=float(dips.grade_error[i]),
            land_ha=max(float(dips.land_ha[i]), float(dips.road_area_m2[i]) / HECTARE_M2),
            spacing=_spacing(dips, i),
        ),
    )


def _spacing(dips: RoadDips, i: int) -> tuple[SpacingRow, ...]:
    low, high = float(dips.spacing_low_m[i]), float(dips.spacing_high_m[i])
    at = float(dips.spacing_m[i])
    source, basis = RULE_SOURCES[ROLLING_DIP]
    note = "For the mean grade of the road since the dip above"
    every = "; ".join(text for text, _ in RULE_SOURCES.values())
    return (
        SpacingRow("all road rules that apply", low, high, False, every, "from memory", note),
        SpacingRow(ROLLING_DIP, at, at, True, source, basis, note),
    )
