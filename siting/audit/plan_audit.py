"""The audit of a plan: every rule over all of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from siting.audit.claims import claims, summary
from siting.audit.one_number import numbers, told
from siting.audit.plan_tables import Contradiction, PlanTables
from siting.audit.purposes import answers, heights, limits, pairs, purposes
from siting.audit.sums import sums
from siting.values.columns import Columns
from siting.values.rules import Rules


@dataclass(frozen=True, slots=True)
class Audit:
    """What an audit found.

    Parameters
    ----------
    contradictions
        In the order of the rules.
    compared
        How often each rule held something against something.
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
        *pairs(plan),
        *answers(plan),
        *claims(plan),
        *summary(plan),
        *sums(plan),
    )
    return Audit(found, dict(plan.compared))
