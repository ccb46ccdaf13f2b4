"""The audit of a plan: every rule over all of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from siting.audit.budgets import budgets
from siting.audit.claims import CLAIMS, claims, more_than, settings, still_pools, summary
from siting.audit.counts import counts
from siting.audit.dip_distances import RULE as DIPS
from siting.audit.dip_distances import dip_distances
from siting.audit.one_number import SAID, numbers, told
from siting.audit.plan_tables import Contradiction, PlanTables
from siting.audit.purposes import (
    alternatives,
    answers,
    found_within,
    heights,
    high_end,
    limits,
    pairs,
    purposes,
)
from siting.audit.sizes_told import drawn, sizes_told
from siting.audit.sums import sums
from siting.audit.unseen import RULE as UNSEEN
from siting.audit.unseen import TOLD as UNSEEN_TOLD
from siting.audit.unseen import unseen
from siting.audit.work_arithmetic import work_arithmetic
from siting.values.columns import Columns
from siting.values.rules import Rules

#: Every rule by its name. A rule that held nothing against anything has shown nothing.
RULES = (
    "peak flow", "design flow", "size", "drainage area", "pool", "spacing", "flood inputs",
    "headcut", "rank of the work", "place in the list",
    *dict.fromkeys(said.rule for said in SAID),
    "something is built", "nothing is built", "height of a grade control", "limits hold",
    "found within what was asked", "high end", "type chosen", "pairs", "stone sizes",
    "referred stand last",
    *(claim.rule for claim in CLAIMS),
    "more than", "setting", "still pool", "size told", "drawn as built", DIPS, UNSEEN, UNSEEN_TOLD,
    "counts of the record", "summary", "cost of a site", "total of materials", "total of costs",
    "sites of a work", "cost of a work", "ends of a range", "bought as brought",
    "chances are their factors", "saved is lost times chances", "saved for what it takes",
    "saved is told", "channel held", "ranks", "at risk", "what a budget buys",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Audit:
    """What an audit found.

    Parameters
    ----------
    contradictions
        In the order of the rules.
    compared
        How often each rule of `RULES` held something against something.
    """

    contradictions: tuple[Contradiction, ...]
    compared: Mapping[str, int]


def audit(tables: Mapping[str, Columns], facts: Mapping[str, str], *, rules: Rules) -> Audit:
    """Hold everything in a plan against everything else that says the same.

    Parameters
    ----------
    tables
        SI columns of each layer and table by its name.
    facts
        Record of the run, name to value.
    rules
        Limits that the plan was made with.
    """
    plan = PlanTables(tables, facts, Counter())
    found = (
        *numbers(plan),
        *told(plan),
        *purposes(plan),
        *heights(
            plan,
            least_m=rules.low("grade_control.height"),
            share=rules.value("grade_control.bankfull_share"),
            most_m=rules.high("grade_control.height"),
        ),
        *limits(plan),
        *found_within(plan),
        *high_end(plan),
        *alternatives(plan),
        *pairs(plan),
        *answers(plan),
        *claims(plan),
        *more_than(plan),
        *settings(plan),
        *still_pools(plan),
        *sizes_told(plan),
        *drawn(plan),
        *dip_distances(plan),
        *unseen(plan),
        *summary(plan),
        *counts(plan),
        *sums(plan),
        *work_arithmetic(plan, swale_worth_m3_per_ha=rules.value("works.swale_worth")),
        *budgets(plan),
    )
    return Audit(found, dict.fromkeys(RULES, 0) | dict(plan.compared))
