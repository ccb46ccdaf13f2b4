"""Works as a plan holds them: two layers of points, what they add to the sites, their reasoning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple

import numpy as np
import shapely
from pyproj import CRS

from siting.effects.site_effects import Effect
from siting.record.feature_tables import lon_lat
from siting.record.structure_rows import columns_of
from siting.sites import Sites
from siting.values.columns import Columns, FeatureTable, shapes_of, texts_of
from siting.works.making_works import Works
from siting.works.takes import Takes
from siting.works.work_words import work_reasons

REASON_NAMES = ("work_id", "step", "part", "site_id", "subject", "value", "text", "source", "basis")


def site_work_columns(works: Works) -> Columns:
    """What a site takes from its work."""
    return {
        "work_id": works.work_id,
        "rank": works.rank,
        "build_order": works.build_order,
        "list_place": works.list_place,
        "score": works.score,
    }


def work_table(sites: Sites, takes: Takes, crs: CRS | None) -> FeatureTable:
    """Works by rank, each a point at its lowest site."""
    works = takes.works
    chosen = set(takes.choice.group_ids)
    why = {left.group_id: left.why for left in takes.choice.left_out}
    each = works.by_rank
    at = np.array([work.lowest for work in each], dtype=np.int64)
    x, y = sites.x_m[at], sites.y_m[at]
    lon, lat = lon_lat(crs, x, y)

    def numbers(name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array([getattr(work, name) for work in each], dtype=np.float64)

    def takings(name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array([getattr(work.takings, name) for work in each], dtype=np.float64)

    def texts(parts: list[tuple[object, ...]]) -> list[str | None]:
        return [", ".join(str(part) for part in own) or None for own in parts]

    return FeatureTable(
        _points(x, y),
        {
            "work_id": np.array([work.id for work in each], dtype=np.int64),
            "rank": np.arange(1, len(each) + 1),
            "kind": texts_of([work.kind for work in each]),
            "sites": np.array([len(work.rows) for work in each], dtype=np.int64),
            "site_ids": texts_of(texts([work.site_ids for work in each])),
            "structures": texts_of(texts([_structures(sites, work.rows) for work in each])),
            "lowest_site": at + 1,
            **{
                name: numbers(name)
                for name in (
                    "soil_lost_m3",
                    "swale_lost_ha",
                    "chance_lost",
                    "chance_holds",
                    "soil_saved_m3",
                    "swale_saved_ha",
                    "saved_m3",
                    "channel_held_m",
                    "share_made_up",
                )
            },
            "functions": np.array([work.functions for work in each], dtype=np.bool_),
            **{n: takings(n) for n in ("cost_low", "cost_likely", "cost_high", "crew_days")},
            **{n: takings(n) for n in ("crew_days_low", "crew_days_high")},
            "width_unseen": np.array([w.takings.width_unseen for w in each], dtype=np.bool_),
            "saved_per_cost": numbers("saved_per_cost"),
            "saved_per_crew_day": numbers("saved_per_crew_day"),
            "needs": texts_of(texts([work.needs for work in each])),
            "base_of": texts_of(texts([work.base_of for work in each])),
            "chosen": np.array([work.id in chosen for work in each], dtype=np.bool_),
            "chosen_why": texts_of([why.get(work.id) for work in each]),
            "horizon_yr": np.full(len(each), works.years),
            "without": texts_of([work.without for work in each]),
            "lon": lon,
            "lat": lat,
        },
    )


def _structures(sites: Sites, rows: tuple[int, ...]) -> tuple[str, ...]:
    """Structures of a work with how many there are, the most first."""
    names = [sites[row].structure for row in rows]
    order = sorted(set(names), key=lambda name: (-names.count(name), name))
    counts = ((name, names.count(name)) for name in order)
    return tuple(name if n == 1 else f"{n} {name}s" for name, n in counts)


def referred_table(
    sites: Sites, effects: Sequence[Effect], works: Works, crs: CRS | None
) -> FeatureTable:
    """What is referred, most at risk first."""
    each = works.referred
    at = np.array([one.row for one in each], dtype=np.int64)
    x, y = sites.x_m[at], sites.y_m[at]
    lon, lat = lon_lat(crs, x, y)

    def lost(name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        values = [np.nan if r.loss is None else getattr(r.loss, name) for r in each]
        return np.array(values, dtype=np.float64)

    return FeatureTable(
        _points(x, y),
        {
            "site_id": at + 1,
            "risk_rank": np.arange(1, len(each) + 1),
            "structure": texts_of([sites[row].structure for row in at]),
            "soil_at_risk_m3": np.array([effects[row].benefit.soil_at_risk_m3 for row in at]),
            "soil_lost_m3": lost("soil_m3"),
            "swale_lost_ha": lost("swale_ha"),
            "chance_lost": lost("chance_lost"),
            "at_risk_m3": np.array(
                [np.nan if r.loss is None else r.at_risk_m3 for r in each], dtype=np.float64
            ),
            "why": texts_of([one.why or None for one in each]),
            "lon": lon,
            "lat": lat,
        },
    )


def work_reason_columns(works: Works, *, currency: str) -> Columns:
    """Rows of the table ``work_reasons``: work by work, in the order in which they are read."""
    rows = []
    for work in works.by_rank:
        for step, reason in enumerate(work_reasons(works, work, currency=currency), start=1):
            part, site_id, *rest = astuple(reason)
            rows.append((work.id, step, part, site_id, *rest))
    out = columns_of(REASON_NAMES, rows)
    return {**out, "value": np.asarray(out["value"], dtype=np.float64)} if rows else out


def _points(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return shapes_of(list(shapely.points(x, y))) if x.size else shapes_of([])
