"""Rolling dips as places of the plan: laid along the roads, decided by the structure types."""

from __future__ import annotations

import numpy as np

from siting.channels.ground import Ground
from siting.layout.measuring import Trials, road_spot
from siting.layout.proposals import Member, OnRoad, Placing, Proposal, Where, Words
from siting.layout.road_dips import RoadDips, lay_road_dips
from siting.layout.road_spacing import (
    BROAD_BASED,
    RULE_SOURCES,
    WATER_BAR,
    broad_based_spacing_m,
    water_bar_spacing_m,
)
from siting.layout.road_words import SOIL_WORDS
from siting.places.spot import RoadRun, Task
from siting.structures.dip_spacing import EROSIVE, FIRM, distance_limit
from siting.structures.spacing_table import SpacingRow
from siting.values.rules import Rules
from siting.values.wording import counted, percent
from terrain.channels.network import HECTARE_M2

#: A dip is told from the road's grade alone: look at ruts and berms before planning.
CONFIDENCE = 0.6
#: What a place on a road asks of a structure.
TURN_OUT = Task("road", opens=True)


def place_on_roads(trials: Trials) -> Placing:
    """Propose a rolling dip wherever a given road carries water and a type for roads fits."""
    keep = trials.settings.keep
    if keep is None or not keep.for_dips.any() or not trials.settings.road_dips:
        return Placing()
    dips = lay_road_dips(keep, trials.ground, soil=trials.settings.road_soil)
    refused: dict[str, int] = {}
    out: list[Proposal] = []
    for stretch in np.unique(dips.stretch):
        for i in np.flatnonzero(dips.stretch == stretch):
            proposal = _proposal(trials.ground, dips, int(i))
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


def _proposal(ground: Ground, dips: RoadDips, i: int) -> Proposal:
    cell = int(dips.cell[i])
    x, y = ground.raster.grid.xy_of(cell)
    return Proposal(
        where=Where(cell, cell, float(x), float(y)),
        task=TURN_OUT,
        slope=float(dips.grade[i]),
        confidence=CONFIDENCE,
        words=Words(str(dips.reason[i]), cautions=tuple(dips.cautions[i]), says_all=True),
        # alone in its stretch it is in no group when all proposals are put together
        member=Member(int(dips.stretch[i]), int(dips.order[i])),
        road=OnRoad(
            azimuth_deg=float(dips.azimuth_deg[i]),
            grade_error=float(dips.grade_error[i]),
            land_ha=max(float(dips.land_ha[i]), float(dips.road_area_m2[i]) / HECTARE_M2),
            spacing=_spacing(dips, i, ground.rules),
            run=RoadRun(
                length_m=float(dips.from_last_m[i]),
                mean_grade=float(dips.mean_grade[i]),
                soil=str(dips.soil[i]),
                first_open=bool(dips.first_open[i]),
                after_dip=bool(dips.after_dip[i]),
            ),
            stretch=int(dips.stretch[i]),
            soil_m3_per_yr=float(dips.road_area_m2[i]) * ground.rules.value("road_dip.soil_cut"),
        ),
    )


def _spacing(dips: RoadDips, i: int, rules: Rules) -> tuple[SpacingRow, ...]:
    """The distance that is followed, and what other soil and other rules would give beside it."""
    grade, at = float(dips.mean_grade[i]), float(dips.spacing_m[i])
    limit = distance_limit(grade, rules)
    note = f"For the mean grade of the road since the dip above, {percent(grade)}"
    least = rules["road_dip.closest"]
    rows = [
        SpacingRow(
            "closest to the dip above",
            least.value * at,
            least.value * at,
            False,
            least.source,
            least.basis,
            f"{100 * least.value:.0f} % of the greatest distance",
        )
    ]
    for soil, distance in ((EROSIVE, limit.low), (FIRM, limit.high)):
        name = f"greatest distance, {SOIL_WORDS[soil]}"
        chosen = soil == str(dips.soil[i])
        rows.append(SpacingRow(name, distance, distance, chosen, limit.source, limit.basis, note))
    for name, rule in ((WATER_BAR, water_bar_spacing_m), (BROAD_BASED, broad_based_spacing_m)):
        other = float(rule(grade))
        if np.isfinite(other):
            source, basis = RULE_SOURCES[name]
            rows.append(SpacingRow(name, other, other, False, source, basis, note))
    # what is followed comes last, as for series
    return tuple(sorted(rows, key=lambda row: row.chosen))
