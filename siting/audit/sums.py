"""Sums equal their parts: materials, costs, works, budgets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise

from siting.audit.plan_tables import Contradiction, PlanTables, at, differ, known

_ENDS = ("low", "likely", "high")
#: What a sum of n rounded numbers may be off by, as a share.
ROUNDED = 5e-3
#: Row of ``costs`` that sums the others.
TOTAL = "total"


def sums(plan: PlanTables) -> Iterator[Contradiction]:
    """Each sum in the plan against its parts."""
    yield from _site_costs(plan)
    for table, amount in (
        ("materials", "amount"),
        ("materials", "amount_low"),
        ("materials", "amount_high"),
        ("costs", "low"),
        ("costs", "likely"),
        ("costs", "high"),
    ):
        yield from _totals(plan, table, amount)
    yield from _works(plan)
    yield from _ends(plan)
    yield from _bought(plan)


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
    """Rows of site 0 are those of all sites, rows of site -1 those of the chosen ones."""
    sets = {
        0: ("all sites", {int(s["site_id"]) for s in plan.sites()}),
        -1: ("the chosen sites", {int(s["site_id"]) for s in plan.sites() if s["chosen"]}),
    }
    for number, (words, members) in sets.items():
        parts: dict[str, float] = defaultdict(float)
        for row in plan.rows(table):
            if int(row["site_id"]) in members and known(row[amount]) and row["item"] != TOTAL:
                parts[row["item"]] += float(row[amount])
                parts[TOTAL] += float(row[amount])
        for row in plan.rows(table):
            if int(row["site_id"]) != number or not known(row[amount]):
                continue
            plan.compared[f"total of {table}"] += 1
            if differ(row[amount], parts[row["item"]], share=ROUNDED, least=0.5):
                yield Contradiction(
                    f"total of {table}",
                    f"{row['item']} of {words}",
                    f"{amount} is {float(row[amount]):.2f}",
                    f"its parts come to {parts[row['item']]:.2f}",
                )


def _ends(plan: PlanTables) -> Iterator[Contradiction]:
    """Low is no more than likely, and likely no more than high."""
    for name, fields in (
        ("sites", tuple(f"cost_{end}" for end in _ENDS)),
        ("works", tuple(f"cost_{end}" for end in _ENDS)),
        ("costs", _ENDS),
        ("sites", ("crew_days_low", "crew_days", "crew_days_high")),
        ("floods", ("low_m3s", "q_m3s", "high_m3s")),
        ("materials", ("amount_low", "amount", "amount_high")),
        ("sizes", ("value_low", "value", "value_high")),
    ):
        for row in plan.rows(name):
            values = [float(row[f]) for f in fields if known(row.get(f))]
            plan.compared["ends of a range"] += 1
            if any(a > b * (1 + 1e-6) + 1e-6 for a, b in pairwise(values)):
                number = row.get("site_id", row.get("work_id"))
                yield Contradiction(
                    "ends of a range",
                    f"{name} of {number}",
                    f"{', '.join(fields)} go up",
                    f"they are {', '.join(f'{v:g}' for v in values)}",
                )


def _bought(plan: PlanTables) -> Iterator[Contradiction]:
    """What is paid for is what is brought to a site, spare included.

    Not so in the sums: earth that a machine moves is in the price of what is paid for as a whole.
    """
    materials = {(int(r["site_id"]), r["item"]): r for r in plan.rows("materials")}
    for row in (r for r in plan.rows("costs") if int(r["site_id"]) > 0):
        brought = materials.get((int(row["site_id"]), row["item"]))
        if brought is None or not known(row["quantity"]) or not known(brought["amount_with_spare"]):
            continue
        plan.compared["bought as brought"] += 1
        if differ(row["quantity"], brought["amount_with_spare"], share=ROUNDED, least=0.01):
            yield Contradiction(
                "bought as brought",
                f"site {int(row['site_id'])}",
                f"{row['quantity']} {row['unit']} of {row['item']} are paid for",
                f"{brought['amount_with_spare']} are brought",
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
            if differ(work[name], total, share=ROUNDED, least=0.005 * (len(own) + 1) + 1e-6):
                yield Contradiction(
                    "cost of a work",
                    about,
                    f"{name} is {float(work[name]):.2f}",
                    f"its sites come to {total:.2f}",
                )
