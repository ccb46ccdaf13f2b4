"""Works of the page's list: each with its numbers, its sites and what is told of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cli.page.page_texts import Texts, raised, shortened
from cli.plan.explanation import known
from cli.plan.fields_works import WORK_KINDS
from cli.plan.plan_numbers import (
    amount,
    cost_to_sort_by,
    cost_words,
    days_to_sort_by,
    days_words,
)
from cli.plan.plan_reading import PlanFile
from cli.plan.plan_works import NotBuilt, SiteGroup, not_built, site_groups
from cli.plan.work_sentences import in_ten, sums_of, work_rows

#: Field of a work by the name of its column.
_NUMBERS = {
    "saved": "saved_m3",
    "lost": "chance_lost",
    "holds": "chance_holds",
}


def works_data(plan: PlanFile, texts: Texts) -> list[dict[str, Any]]:
    """Works by rank; none in a plan of an older format, which ranks its sites."""
    groups = site_groups(plan.layers)
    return [_work(g, g.work, groups, plan, texts) for g in groups if g.work is not None]


def _work(
    group: SiteGroup,
    work: Mapping[str, Any],
    groups: tuple[SiteGroup, ...],
    plan: PlanFile,
    texts: Texts,
) -> dict[str, Any]:
    values = {name: float(work[field]) for name, field in _NUMBERS.items()}
    values |= {"cost": cost_to_sort_by(work), "days": days_to_sort_by(work)}
    currency = str(plan.run_info.get("currency", ""))
    words = {
        "saved": raised(amount("works", "saved_m3", values["saved"], plan.units)),
        "lost": in_ten(values["lost"]),
        "holds": in_ten(values["holds"]),
        "cost": cost_words(work),
        "days": days_words(work),
    }
    kind = dict(WORK_KINDS).get(str(work["kind"]), str(work["kind"]))
    return {
        "id": int(work["work_id"]),
        "rank": group.rank,
        "what": shortened(f"{work['kind']}: {work['structures']}"),
        "kind": texts.keep(kind),
        "functions": bool(work["functions"]),
        "chosen": bool(work["chosen"]),
        "sites": [int(s["site_id"]) for s in group.sites],
        "numbers": {n: round(v, 6) if known(v) else None for n, v in values.items()},
        "words": words,
        "rows": [
            [texts.keep(name), texts.keep(text)]
            for name, text in work_rows(group, groups, units=plan.units, currency=currency)
        ],
    }


def sums_data(plan: PlanFile) -> list[str]:
    """Sums of the works, a line each."""
    return [
        raised(f"{s['name']}, saves {s['saves']}, cost {s['cost']}, crew days {s['days']}")
        for s in sums_of(site_groups(plan.layers), plan.units)
    ]


def waiting_by_site(plan: PlanFile, texts: Texts) -> dict[int, dict[str, Any]]:
    """What is not built, by site: how it is marked, what is at risk there, and why it waits."""
    return {int(one.site["site_id"]): _waiting(one, plan, texts) for one in not_built(plan.layers)}


def _waiting(one: NotBuilt, plan: PlanFile, texts: Texts) -> dict[str, Any]:
    told = one.referred
    if told is None:
        return {"mark": one.mark, "risk": None, "words": ["-", "-"], "reason": None}
    risk = float(told["at_risk_m3"])
    return {
        "mark": one.mark,
        "risk": int(told["risk_rank"]),
        "words": [
            raised(amount("referred", "at_risk_m3", risk, plan.units)),
            in_ten(float(told["chance_lost"])),
        ],
        "reason": texts.keep(str(told["why"] or "")),
    }
