"""Rolling dips as places of the plan: laid along the roads, decided by the structure types."""

from __future__ import annotations

import numpy as np

from siting.hydraulics.cross_section import CrossSection
from siting.layout.measuring import SpotMaker
from siting.layout.proposals import Place, Placed
from siting.layout.road_dips import RoadDips, lay_road_dips
from siting.layout.road_spacing import RULE_SOURCES
from siting.places.spot import Spot
from siting.structures.spacing_table import SpacingRow
from siting.values.wording import counted
from terrain.channels.network import HECTARE_M2

#: A dip is told from the road's grade alone: look at ruts and berms before planning.
CONFIDENCE = 0.6


def place_on_roads(maker: SpotMaker, placed: Placed) -> None:
    """Add a rolling dip wherever a given road carries water and a type for roads fits."""
    keep = maker.settings.keep
    if keep is None or not keep.roads.size:
        return
    dips = lay_road_dips(keep, maker.ground)
    placed.notes += dips.notes
    flat = CrossSection.trapezoid(
        maker.ground.rules.value("road_dip.road_width"), side=10.0, depth_m=0.3
    )
    refused: dict[str, int] = {}
    for stretch in np.unique(dips.stretch):
        own = np.flatnonzero(dips.stretch == stretch)
        group = placed.new_group() if own.size > 1 else 0
        for i in own:
            why = _place(maker, dips, int(i), flat, group, placed)
            if why:
                refused[why] = refused.get(why, 0) + 1
    placed.notes += [
        f"{counted(count, 'place')} for a dip on a road left out: {why}"
        for why, count in refused.items()
    ]


def _place(
    maker: SpotMaker, dips: RoadDips, i: int, section: CrossSection, group: int, placed: Placed
) -> str:
    """Add one dip, or say why not."""
    ground = maker.ground
    spot = Spot(
        purpose="road",
        slope=float(dips.grade[i]),
        slope_error=float(dips.grade_error[i]),
        drainage_area_ha=max(float(dips.land_ha[i]), float(dips.road_area_m2[i]) / HECTARE_M2),
        section=section,
        rules=ground.rules,
        area_complete=not bool(ground.cut.is_cut(dips.cell[i : i + 1])[0]),
        opens=True,
        design_period_yr=maker.settings.design_period_yr,
        stock=maker.settings.stock,
    )
    decision = maker.decide(spot)
    if decision.type is None:
        return " ".join(c.why_not for c in decision.failed) or decision.nearest_why_not[0]
    placed.places.append(
        Place(
            cell=int(dips.cell[i]),
            section_cell=int(dips.cell[i]),
            reach=-1,
            station_m=0.0,
            control=decision.kind.control,
            structure=decision.kind.name,
            slope=float(dips.grade[i]),
            confidence=CONFIDENCE,
            reason=str(dips.reason[i]),
            cautions=tuple(dips.cautions[i]),
            group=group,
            build_order=int(dips.order[i]) if group else 0,
            decision=decision,
            spacing=_spacing(dips, i),
            azimuth_deg=float(dips.azimuth_deg[i]),
        )
    )
    return ""


def _spacing(dips: RoadDips, i: int) -> tuple[SpacingRow, ...]:
    low, high = float(dips.spacing_low_m[i]), float(dips.spacing_high_m[i])
    at = float(dips.spacing_m[i])
    source, basis = RULE_SOURCES[str(dips.rule[i])]
    note = "For the mean grade of the road since the dip above"
    return (
        SpacingRow("all road rules that apply", low, high, False, source, basis, note),
        SpacingRow(str(dips.rule[i]), at, at, True, source, basis, note),
    )
