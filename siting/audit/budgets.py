"""What a budget bought: it saves, it works, it stands on what it needs, and it can be paid."""

from __future__ import annotations

import re
from collections.abc import Iterator

from siting.audit.plan_tables import NOT_BUILT, Contradiction, PlanTables, Row, at, known

RULE = "what a budget buys"
#: What a sum of rounded costs may be above the budget.
_ROUNDED = 1.0


def budgets(plan: PlanTables) -> Iterator[Contradiction]:
    """Works and sites in the set chosen, where a budget or so many days were given."""
    limits = {
        name: float(plan.facts[f"setting: {name}"])
        for name in ("budget", "crew_days")
        if known(plan.facts.get(f"setting: {name}"))
    }
    if not limits:
        return
    works = {int(w["work_id"]): w for w in plan.rows("works")}
    for work in works.values():
        yield from _work(plan, work, works)
    bought = [w for w in works.values() if w["chosen"]]
    for name, field in (("budget", "cost_likely"), ("crew_days", "crew_days")):
        if name in limits:
            plan.compared[RULE] += 1
            total = sum(float(w[field]) for w in bought)
            if total > limits[name] * (1 + 1e-3) + _ROUNDED:
                yield Contradiction(
                    RULE, "the works chosen", f"{name} is {limits[name]:.0f}",
                    f"{field} of the works chosen comes to {total:.0f}",
                )  # fmt: skip
    for site in plan.sites():
        yield from _site(plan, site, works)


def _work(plan: PlanTables, work: Row, works: dict[int, Row]) -> Iterator[Contradiction]:
    plan.compared[RULE] += 1
    against: tuple[str, ...]
    if not work["chosen"]:
        against = () if known(work["chosen_why"]) else ("no reason is given",)
        says = "it is left out"
    else:
        needs = [int(n) for n in re.findall(r"\d+", str(work["needs"] or ""))]
        missing = [n for n in needs if not works[n]["chosen"]]
        says = "it is chosen"
        carries = [int(n) for n in re.findall(r"\d+", str(work["base_of"] or ""))]
        a_base = any(works[n]["chosen"] for n in carries if n in works)
        against = tuple(
            what
            for what, there in (
                ("it saves nothing", float(work["saved_m3"]) <= 0 and not a_base),
                ("it does not work", not work["functions"]),
                (f"work {missing[0]} that it needs is not" if missing else "", bool(missing)),
                (f"it is said why it is left out: {work['chosen_why']}", known(work["chosen_why"])),
            )
            if there
        )
    for what in against:
        yield Contradiction(RULE, f"work {int(work['work_id'])}", says, what)


def _site(plan: PlanTables, site: Row, works: dict[int, Row]) -> Iterator[Contradiction]:
    plan.compared[RULE] += 1
    work = works.get(int(site["work_id"]))
    if site["control"] in NOT_BUILT or work is None:
        if site["chosen"]:
            yield Contradiction(RULE, at(site), "it is chosen", "nothing is built there")
    elif bool(site["chosen"]) != bool(work["chosen"]):
        yield Contradiction(
            RULE, at(site), f"it is {'' if site['chosen'] else 'not '}chosen",
            f"its work {int(work['work_id'])} is {'' if work['chosen'] else 'not '}chosen",
        )  # fmt: skip
