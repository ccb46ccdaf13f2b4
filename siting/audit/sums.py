"""Sums equal their parts: materials, costs, works, budgets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from siting.audit.plan_tables import Contradiction, PlanTables, at, differ, known

_ENDS = ("low", "likely", "high")
#: What a sum of n rounded numbers may be off by, as a share.
ROUNDED = 5e-3
#: Row of ``costs`` that sums the others.
TOTAL = "total"


def sums(plan: PlanTables) -> Iterator[Contradiction]:
    """Each sum in the plan against its parts."""
    yield from _site_costs(plan)
    for table, amount in (("materials", "amount"), ("costs", "likely")):
        yield from _totals(plan, table, amount)
    yield from _works(plan)


def _site_costs(plan: PlanTables) -> Iterator[Contradiction]:
    costs = plan.by_site("costs")
    for site in plan.built():
        own = costs.get(int(site["site_id"]), [])
        stated = next((r for r in own if r["item"] == TOTAL), None)
        for end in _ENDS:
            total = sum(float(r[end]) for r in own if r["item"] != TOTAL and known(r[end]))
            plan.compared["cost of a site"] += 1
            for says, value in (
                (f"cost_{end}", site[f"cost_{end}"]),
                (f"the total of its costs, {end},", None if stated is None else stated[end]),
            ):
                if differ(value, total, share=ROUNDED, least=0.5):
                    yield Contradiction(
                        "cost of a site",
                        at(site),
                        f"{says} is {value}",
                        f"its rows of costs come to {total:.2f}",
                    )


def _totals(plan: PlanTables, table: str, amount: str) -> Iterator[Contradiction]:
    """Rows of site 0 are those of all sites, or of the chosen ones under a budget."""
    chosen = {int(s["site_id"]) for s in plan.sites() if s["chosen"]}
    parts: dict[str, float] = defaultdict(float)
    for row in plan.rows(table):
        if int(row["site_id"]) in chosen and known(row[amount]) and row["item"] != TOTAL:
            parts[row["item"]] += float(row[amount])
            parts[TOTAL] += float(row[amount])
    for row in plan.rows(table):
        if int(row["site_id"]) != 0 or not known(row[amount]):
            continue
        plan.compared[f"total of {table}"] += 1
        if differ(row[amount], parts[row["item"]], share=0.02, least=1.0):
            yield Contradiction(
                f"total of {table}",
                f"{row['item']} of all sites",
                f"{amount} is {float(row[amount]):.2f}",
                f"its parts come to {parts[row['item']]:.2f}",
            )


def _works(plan: PlanTables) -> Iterator[Contradiction]:
    """A work's costs and days are those of its sites, and it has as many as it says."""
    of_work = defaultdict(list)
    for site in plan.sites():
        if known(site.get("work_id")) and int(site["work_id"]) > 0:
            of_work[int(site["work_id"])].append(site)
    for work in plan.rows("works"):
        own = [s for s in of_work[int(work["work_id"])] if known(s["cost_likely"])]
        about = f"work {int(work['work_id'])}"
        plan.compared["sites of a work"] += 1
        if int(work["sites"]) != len(own):
            yield Contradiction(
                "sites of a work",
                about,
                f"it has {int(work['sites'])} sites",
                f"{len(own)} name it",
            )
        for name in (*(f"cost_{end}" for end in _ENDS), "crew_days"):
            total = sum(float(s[name]) for s in own if known(s[name]))
            plan.compared["cost of a work"] += 1
            if differ(work[name], total, share=ROUNDED, least=0.01):
                yield Contradiction(
                    "cost of a work",
                    about,
                    f"{name} is {float(work[name]):.2f}",
                    f"its sites come to {total:.2f}",
                )
