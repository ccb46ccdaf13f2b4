"""Works and referred sites of an invented plan, so that they agree with its sites."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from pyproj import CRS

from cli.plan.layers import Layer


def texts(values: list[str | None]) -> np.ndarray:
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out


def example_works(
    sites: Mapping[str, np.ndarray], points: np.ndarray, crs: CRS
) -> dict[str, Layer]:
    """Layers ``works`` and ``referred``; each work lies at the first of its sites to be built."""
    work_id = sites["work_id"]
    rank = {int(w): int(r) for w, r in zip(work_id, sites["rank"], strict=True) if w}
    numbers = sorted(rank, key=lambda w: rank[w])
    rows = [
        sorted(np.flatnonzero(work_id == w), key=lambda i: sites["build_order"][i]) for w in numbers
    ]
    n = len(numbers)
    lost, chance, holds = np.linspace(100.0, 40.0, n), np.full(n, 0.8), np.full(n, 0.5)
    floor = np.full(n, 0.1)
    cost = np.array([np.nansum(_costs(sites)[own]) for own in rows])
    saved = (lost + 1000 * floor) * chance * holds
    at = [own[0] for own in rows]
    columns: dict[str, Any] = {
        "work_id": np.array(numbers),
        "rank": np.arange(1, n + 1),
        "kind": texts(["headcut"] * n),
        "sites": np.array([len(own) for own in rows]),
        "site_ids": texts([", ".join(str(sites["site_id"][i]) for i in own) for own in rows]),
        "structures": texts([", ".join(str(sites["structure"][i]) for i in own) for own in rows]),
        "lowest_site": sites["site_id"][at],
        "soil_lost_m3": lost,
        "swale_lost_ha": floor,
        "chance_lost": chance,
        "chance_holds": holds,
        "soil_saved_m3": lost * chance * holds,
        "swale_saved_ha": floor * chance * holds,
        "saved_m3": saved,
        "channel_held_m": np.full(n, 24.0),
        "share_made_up": np.ones(n),
        "functions": np.ones(n, dtype=np.bool_),
        "cost_low": 0.5 * cost,
        "cost_likely": cost,
        "cost_high": 2 * cost,
        "crew_days": 0.001 * cost,
        "crew_days_low": 0.0005 * cost,
        "crew_days_high": 0.002 * cost,
        "width_unseen": np.zeros(n, dtype=np.bool_),
        "saved_per_cost": 1000 * saved / cost,
        "saved_per_crew_day": 1000 * saved / cost,
        "needs": texts([None] * n),
        "chosen": np.ones(n, dtype=np.bool_),
        "chosen_why": texts([None] * n),
        "horizon_yr": np.full(n, 20.0),
        "without": texts(["Rest from grazing."] * n),
        "lon": sites["lon"][at],
        "lat": sites["lat"][at],
    }
    none = np.flatnonzero(work_id == 0)
    k = none.size
    referred = {
        "site_id": sites["site_id"][none],
        "risk_rank": np.arange(1, k + 1),
        "structure": texts(["engineer"] * k),
        "soil_at_risk_m3": np.full(k, 300.0),
        "soil_lost_m3": np.full(k, 90.0),
        "swale_lost_ha": np.full(k, 0.02),
        "chance_lost": np.full(k, 0.5),
        "at_risk_m3": np.full(k, 55.0),
        "why": texts(["The drop is above the 1.2 m that hands should build."] * k),
        "lon": sites["lon"][none],
        "lat": sites["lat"][none],
    }
    return {
        "referred": Layer("referred", points[none], referred, crs),
        "works": Layer("works", points[at], columns, crs),
    }


def _costs(sites: Mapping[str, np.ndarray]) -> np.ndarray:
    """Likely costs; those that are not known are round."""
    count = len(sites["site_id"])
    return np.nan_to_num(sites.get("cost_likely", np.full(count, np.nan)), nan=500.0) + 500.0
