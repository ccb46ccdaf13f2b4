"""What each structure does on the ground: its pool, its sediment wedge, what it saves."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from siting.channels.ground import Ground
from siting.effects.backwater import Tailwater, tailwater_in
from siting.effects.benefits import Benefit, Swale, control_benefit, head_benefit, swale_above
from siting.effects.channel_above import ChannelAbove, channel_above
from siting.effects.pools import Pool, pool_in
from siting.effects.wedges import LONGEST_M, SPARE, Wedge, reach_m, wedge_in
from siting.floods.rainfall import Rainfall
from siting.hydraulics.open_channel import LOWEST_SLOPE, FlowState
from siting.site import Site
from siting.sites import Sites
from siting.structures.structure_type import Size
from siting.values.columns import Columns, FeatureTable, shapes_of, texts_of
from siting.values.rules import Rules
from terrain.values.arrays import BoolArray, FloatArray
from terrain.values.parallel import over_items

#: What pools and the like are read from, unless said otherwise.
FROM_GROUND = "elevations"
#: The channel is read at least this far up from a structure, m.
LEAST_ABOVE_M = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Effect:
    """What one structure does; None where it does not apply.

    Parameters
    ----------
    pool, wedge
        Still water and sediment behind a grade control.
    tailwater
        Water behind it while the design flow runs over it.
    benefit
        What a structure at a head saves, or a grade control gains.
    source
        What pool, wedge and ground rewetted were read from.
    uncut
        Uncut channel above a head.
    """

    pool: Pool | None = None
    wedge: Wedge | None = None
    tailwater: Tailwater | None = None
    benefit: Benefit = field(default_factory=Benefit)
    source: str = FROM_GROUND
    uncut: Swale | None = None


def effects_of(ground: Ground, sites: Sites, rainfall: Rainfall | None) -> tuple[Effect, ...]:
    """Work out what every structure does.

    Parameters
    ----------
    ground, sites
        Terrain and sites.
    rainfall
        For the rate of retreat; None takes a usual rain.
    """

    def one(i: int) -> Effect:
        site = sites[i]
        if site.proposal.at_head:
            head = site.head.index
            uncut = swale_above(ground, int(ground.headcuts.cell[head]))
            gain = head_benefit(ground, head, rainfall=rainfall, swale=uncut)
            return Effect(benefit=gain, uncut=uncut)
        return _of_control(ground, site) if holds_back(site) else Effect()

    return tuple(over_items(one, list(range(sites.count))))


def holds_back(site: Site) -> bool:
    """Whether a structure holds anything back: a grade control whose crest stands proud."""
    return site.control == "grade" and site.size is not None and site.size.height_m > 0


def _of_control(ground: Ground, site: Site) -> Effect:
    proposal, size, slope = site.proposal, site.decision.sized, max(site.spot.slope, 0.0)
    toe = proposal.foot.cell if proposal.foot.cell >= 0 else None
    length = length_above_m(size.height_m, slope)
    return control_effect(
        channel_above(ground, proposal.where.cell, length_m=length, toe_cell=toe),
        size=size,
        slope=slope,
        flow=site.design_flow,
        roughness=site.spot.roughness,
        rules=ground.rules,
    )


def length_above_m(height_m: float, slope: float) -> float:
    """How much of the channel above a crest is read for its pool and its sediment, m."""
    return max(min(SPARE * reach_m(height_m, slope), LONGEST_M), LEAST_ABOVE_M)


def control_effect(
    above: ChannelAbove,
    *,
    size: Size,
    slope: float,
    flow: FlowState | None,
    roughness: float,
    rules: Rules,
) -> Effect:
    """Work out what a grade control does in the channel above it.

    Parameters
    ----------
    above
        The channel from the structure up.
    size, slope
        Of the structure; bed slope of the reach, 0 or more.
    flow, roughness
        The design flow, None where it is not known, and Manning's n.
    rules
        Limits.
    """
    height = size.height_m
    pool = pool_in(above, crest_height_m=height)
    wedge = wedge_in(
        above,
        crest_height_m=height,
        bed_slope=slope,
        share_low=rules.low("wedge.deposit"),
        share_high=rules.high("wedge.deposit"),
    )
    tail = (
        None
        if flow is None
        else tailwater_in(
            above,
            crest_height_m=height,
            discharge_m3s=flow.discharge_m3s,
            roughness=roughness,
            slope=max(slope, LOWEST_SLOPE),
        )
    )
    gain = control_benefit(above, crest_height_m=height, pool=pool, wedge=wedge)
    return Effect(pool, wedge, tail, gain)


def effect_columns(effects: tuple[Effect, ...], *, unseen: BoolArray) -> Columns:
    """Columns that the effects add to the layer ``sites``.

    Parameters
    ----------
    effects
        Of each site.
    unseen
        Where nobody saw how wide the channel is: areas and volumes are left empty there.
    """

    def pool(name: str) -> FloatArray:
        return np.array([np.nan if e.pool is None else getattr(e.pool, name) for e in effects])

    def wedge(name: str) -> FloatArray:
        return np.array([np.nan if e.wedge is None else getattr(e.wedge, name) for e in effects])

    def benefit(name: str) -> FloatArray:
        return np.array([getattr(e.benefit, name) for e in effects], dtype=np.float64)

    def across(values: FloatArray) -> FloatArray:
        """NaN where it goes with a width that nobody saw."""
        return np.where(unseen, np.nan, values)

    tail = [np.nan if e.tailwater is None else e.tailwater.toe_depth_m for e in effects]
    return {
        "toe_depth_m": pool("toe_depth_m"),
        "tailwater_toe_m": np.array(tail, dtype=np.float64),
        "pool_area_m2": across(pool("area_m2")),
        "pool_volume_m3": across(pool("volume_m3")),
        "wedge_length_m": wedge("length_m"),
        "wedge_volume_m3": across(wedge("volume_m3")),
        "retreat_m_per_yr": benefit("retreat_m_per_yr"),
        "swale_at_risk_m": benefit("swale_length_m"),
        "swale_at_risk_ha": benefit("swale_area_ha"),
        "soil_at_risk_m3": benefit("soil_at_risk_m3"),
        "rewetted_m2": across(benefit("rewetted_m2")),
        "pool_source": texts_of([_pool_source(e) for e in effects]),
    }


def _pool_source(effect: Effect) -> str | None:
    if effect.pool is None:
        return None
    return "dem" if effect.source == FROM_GROUND else "measured"


def pool_table(effects: tuple[Effect, ...], *, unseen: BoolArray) -> FeatureTable:
    """Pools and wedges as polygons to scale; areas and volumes as in `effect_columns`."""
    shapes, ids, kinds, numbers = [], [], [], []
    for i, effect in enumerate(effects, start=1):
        pool, wedge = effect.pool, effect.wedge
        if wedge is not None and wedge.outline is not None:
            shapes.append(wedge.outline)
            ids.append(i)
            kinds.append("wedge")
            numbers.append((wedge.outline.area, wedge.volume_m3, np.nan))
        if pool is not None and pool.outline is not None:
            shapes.append(pool.outline)
            ids.append(i)
            kinds.append("pool")
            numbers.append((pool.area_m2, pool.volume_m3, pool.depth_at_crest_m))
    table = np.array(numbers, dtype=np.float64).reshape(-1, 3)
    table[unseen[np.array(ids, dtype=np.int64) - 1], :2] = np.nan
    return FeatureTable(
        shapes_of(shapes),
        {
            "site_id": np.array(ids, dtype=np.int64),
            "kind": texts_of(kinds),
            "area_m2": table[:, 0],
            "volume_m3": table[:, 1],
            "depth_m": table[:, 2],
        },
    )
