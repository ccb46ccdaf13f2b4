"""What the money of plans goes to, and what becomes of their headcuts.

Run ``python -m tests.judgement.money PLAN.gpkg ...``: one line a plan with its likely cost by what
it does (stops a headcut, holds a bed, spreads water, drains a road), what of it is in works that
save nothing or cannot work, and how many sure headcuts are built whole, in part, wait for banks
that nobody saw, or are referred.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pyogrio

#: What a site does, by the kind of its work.
DOES = {
    "headcut": "stops",
    "series": "holds",
    "swale": "holds",
    "spreader": "spreads",
    "road": "drains",
}


def line(plan: Path) -> str:
    """One plan in figures."""
    works = pyogrio.read_dataframe(plan, layer="works", read_geometry=False)
    sites = pyogrio.read_dataframe(plan, layer="sites", read_geometry=False)
    money = dict.fromkeys(DOES.values(), 0.0)
    for _, work in works.iterrows():
        money[DOES[work["kind"]]] += float(work["cost_likely"])
    left_out = (~works["functions"].astype(bool) | (works["saved_m3"] < 0.1)) & works[
        "base_of"
    ].isna()
    idle, works = works[left_out], works[~left_out]
    parts = ", ".join(f"{name} {value:,.0f}" for name, value in money.items())
    total = sum(money.values())
    return (
        f"{plan.stem}: {total:,.0f} ({parts}; besides, listed as of no use, "
        f"{float(idle['cost_likely'].sum()):,.0f}); {_heads(sites)}"
    )


def _heads(sites: Any) -> str:
    heads = sites[sites["purpose"] == "vertical"]
    built = heads[heads["control"] == "vertical"]
    whole = built[built["reach_share"] >= 0.999]
    waits = whole[whole["banks_first"].astype(bool)]
    return (
        f"{len(heads)} heads: {len(whole) - len(waits)} whole, {len(waits)} if banks hold, "
        f"{len(built) - len(whole)} in part, {len(heads) - len(built)} referred"
    )


if __name__ == "__main__":
    for name in sys.argv[1:]:
        print(line(Path(name)))
