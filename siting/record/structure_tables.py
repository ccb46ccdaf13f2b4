"""Everything that a plan tells about structures: columns of the sites, layers and tables."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely

from siting.channels.ground import Ground
from siting.effects.site_effects import Effect, effect_columns, effects_of, pool_table
from siting.floods.rainfall import Rainfall
from siting.layout.clearance import near
from siting.layout.keep_clear import KINDS, ROAD, KeepClear
from siting.record.bed_and_bank_rows import bed_columns
from siting.record.before_building import (
    Totals,
    before_columns,
    design_sentence,
    fill_m3,
)
from siting.record.drawn_rows import outline_columns, type_columns
from siting.record.footprints import crest_table, footprint_table
from siting.record.ground_points import profile_columns, section_columns
from siting.record.reasons import Told, reason_columns
from siting.record.site_records import record_columns
from siting.record.structure_rows import (
    hydraulics_columns,
    instruction_columns,
    size_columns,
    spacing_columns,
)
from siting.record.work_tables import site_work_columns, work_reason_columns
from siting.site import Site
from siting.sites import Sites
from siting.values.columns import Columns, FeatureTable, texts_of
from siting.values.rules import Rules
from siting.values.wording import counted, quantity
from siting.works.takes import Means, Takes, takes_of
from siting.works.work import Judging
from siting.works.work_words import why_first
from terrain.values.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Built:
    """What the structures of a plan add to it.

    Parameters
    ----------
    columns
        Further columns of the layer ``sites``.
    structures, structure_lines, pools
        Footprints to scale, crests, pools and wedges.
    tables
        Tables without geometries by name.
    takes
        Materials, days and costs, and what a budget buys.
    totals
        What all of it puts into the ground.
    effects
        What each structure does.
    """

    columns: Columns
    structures: FeatureTable
    structure_lines: FeatureTable
    pools: FeatureTable
    tables: Mapping[str, Columns]
    takes: Takes
    totals: Totals
    effects: tuple[Effect, ...]

    @property
    def why_first(self) -> str:
        """Why the first work is first, in a few sentences."""
        return why_first(self.takes.works, currency=self.takes.means.costs.currency)

    def work(self, design_period_yr: float) -> tuple[str, ...]:
        """What it takes and costs, for which flow it is sized, and what comes before it."""
        if not self.totals.structures and not self.takes.means.limited:
            return ()
        t = self.totals
        return (
            *self.takes.sentences(),
            design_sentence(t, design_period_yr),
            f"Before you build: utilities, permits (about {quantity(t.fill_m3, 'm3')} of fill on "
            f"{quantity(t.disturbed_m2, 'm2')} in {counted(t.channels, 'channel')}"
            f"{t.widest_words}), water rights, cultural survey, grazing; see the table "
            "before_you_build.",
        )


def built_of(
    ground: Ground,
    sites: Sites,
    *,
    judging: Judging,
    means: Means,
    rainfall: Rainfall | None,
    keep: KeepClear | None,
    design_period_yr: float,
) -> Built:
    """Work out what the structures do, take and cost, and write it down.

    Parameters
    ----------
    ground, sites
        What was found.
    judging, means
        How works are judged; prices and limits.
    rainfall
        For the rate at which headcuts move.
    keep
        Roads, for distances.
    design_period_yr
        Return period that sizes are made for.
    """
    effects = effects_of(ground, sites, rainfall)
    told = told_of(
        sites,
        effects,
        rules=ground.rules,
        judging=judging,
        means=means,
        keep=keep,
        design_period_yr=design_period_yr,
        cell_m=ground.raster.grid.cell_m,
    )
    of_ground = {
        "profile_points": profile_columns(ground, sites, _behind_m(effects)),
        "section_points": section_columns(ground, sites),
        "site_records": record_columns(sites, effects, cell_m=ground.raster.grid.cell_m),
    }
    return replace(told, tables={**told.tables, **of_ground})


def told_of(
    sites: Sites,
    effects: tuple[Effect, ...],
    *,
    rules: Rules,
    judging: Judging,
    means: Means,
    keep: KeepClear | None,
    design_period_yr: float,
    cell_m: float,
) -> Built:
    """Write down what structures do, take and cost once their effects are known.

    Parameters
    ----------
    sites, effects
        What was found, and what each structure does.
    rules, judging, means, keep, design_period_yr
        Limits and curves; else as for `built_of`.
    cell_m
        Cell size of the elevations, m.
    """
    takes = takes_of(sites, effects, means, rules=rules, judging=judging)
    structures = footprint_table(sites)
    totals = _totals(sites, effects, takes, structures)
    told = Told(sites, effects, takes.works, cell_m)
    return Built(
        columns={
            **site_work_columns(takes.works),
            **_design_columns(sites, design_period_yr),
            **effect_columns(effects, unseen=sites.width_unseen),
            **bed_columns(sites),
            **takes.site_columns(),
            **_left_out(sites, takes),
            "nearest_road_m": _nearest_road_m(sites, keep),
        },
        structures=structures,
        structure_lines=crest_table(sites),
        pools=pool_table(effects, unseen=sites.width_unseen),
        tables={
            "hydraulics": hydraulics_columns(sites),
            "sizes": size_columns(sites),
            "structure_outlines": outline_columns(sites),
            "structure_types": type_columns(sites),
            "spacings": spacing_columns(sites),
            **takes.tables(),
            "reasons": reason_columns(told),
            "work_reasons": work_reason_columns(takes.works, currency=means.costs.currency),
            "instructions": instruction_columns(sites),
            "before_you_build": before_columns(totals, design_period_yr=design_period_yr),
        },
        takes=takes,
        totals=totals,
        effects=effects,
    )


def _design_columns(sites: Sites, design_period_yr: float) -> Columns:
    """Stone, design flow and spacing of every site; NaN where there is none."""

    def flow(name: str) -> FloatArray:
        states = [site.design_flow for site in sites]
        return np.array([np.nan if s is None else getattr(s, name) for s in states])

    def stone(name: str) -> FloatArray:
        """NaN where it is a range, since nobody saw the width."""
        out = np.full(sites.count, np.nan)
        for i, site in enumerate(sites):
            values = {getattr(z.stone, name) for _, z in site.ends if z.stone is not None}
            if len(values) == 1:
                out[i] = values.pop()
        return out

    # a flow is known where the channel's width is not
    unseen = sites.numbers(lambda s: s.spot.flow_m3s() if s.width_unseen else np.nan)
    design = np.fmax(flow("discharge_m3s"), unseen)

    def of_flow(get: Callable[[Site], float]) -> FloatArray:
        known = np.isfinite(design)
        return np.where(known, np.array([get(s) for s in sites], dtype=np.float64), np.nan)

    chosen = [next((r for r in p.spacing if r.chosen), None) for p in sites]
    at = [r.low_m if r is not None and np.isfinite(r.low_m) else np.nan for r in chosen]
    return {
        "stone_d50_m": stone("d50_m"),
        "stone_d100_m": stone("d100_m"),
        "stone_heaviest_kg": stone("heaviest_kg"),
        "design_return_period_yr": np.full(sites.count, int(design_period_yr)),
        "design_flow_m3s": design,
        "design_flow_low_m3s": of_flow(lambda s: s.spot.low_flow_m3s()),
        "design_flow_high_m3s": of_flow(lambda s: s.spot.high_flow_m3s()),
        "flow_range_from": texts_of([s.spot.floods.range_from or None for s in sites]),
        "fails_at_high_flow": texts_of(
            [", ".join(c.rule for c in s.fails_at_high) or None for s in sites]
        ),
        "design_depth_m": flow("depth_m"),
        "design_velocity_mps": flow("velocity_mps"),
        "design_shear_pa": flow("shear_pa"),
        "design_froude": flow("froude"),
        "spacing_m": np.array(at, dtype=np.float64),
        "spacing_rule": texts_of([None if r is None else r.rule for r in chosen]),
    }


def _behind_m(effects: tuple[Effect, ...]) -> FloatArray:
    """Length of what a structure holds back, water or sediment; NaN for nothing."""
    lengths = [[part.length_m for part in (e.pool, e.wedge) if part is not None] for e in effects]
    return np.array([max(own, default=np.nan) for own in lengths], dtype=np.float64)


def _left_out(sites: Sites, takes: Takes) -> Columns:
    """Why sites are not in the chosen set: what was left out before a budget comes to it."""
    why = takes.site_columns()["chosen_why"]
    left_out = [p.field.hold or p.field.left_out for p in sites.proposals]
    return {"chosen_why": texts_of([own or w for own, w in zip(left_out, why, strict=True)])}


def _nearest_road_m(sites: Sites, keep: KeepClear | None) -> FloatArray:
    if keep is None or not keep.size or not sites.count:
        return np.full(sites.count, np.nan)
    away = near(keep, sites.x_m, sites.y_m).distance_m[:, KINDS.index(ROAD)]
    return np.where(np.isfinite(away), away, np.nan)


def _totals(
    sites: Sites, effects: tuple[Effect, ...], takes: Takes, structures: FeatureTable
) -> Totals:
    chosen = takes.site_columns()["chosen"]
    fill = np.array([fill_m3(amounts) for amounts in takes.amounts])
    fill = np.where(chosen, fill, 0.0)
    pools = [e.pool for e, c in zip(effects, chosen, strict=True) if c and e.pool is not None]
    at = structures.columns["site_id"] - 1
    area = shapely.area(structures.geometry)
    reaches = {p.where.reach for p, c in zip(sites.proposals, chosen, strict=True) if c} - {-1}
    return Totals(
        structures=int(np.count_nonzero(chosen)),
        channels=len(reaches),
        fill_m3=float(fill.sum()),
        largest_fill_m3=float(fill.max(initial=0.0)),
        widest=bool((sites.width_unseen & chosen).any()),
        disturbed_m2=float(area[chosen[at]].sum()) if at.size else 0.0,
        water_held_m3=float(sum(p.volume_m3 for p in pools)),
        deepest_m=max((p.depth_at_crest_m for p in pools), default=0.0),
        without_flow=sum(
            1
            for i in np.flatnonzero(chosen)
            if not sites[i].on_road and not np.isfinite(sites[i].spot.flow_m3s())
        ),
    )
