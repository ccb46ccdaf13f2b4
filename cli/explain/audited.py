"""Where a plan contradicts itself, written for people and for machines."""

from __future__ import annotations

import json

from cli.plan.plan_reading import PlanFile
from siting.audit.plan_audit import Audit, audit
from siting.record.settings_used import settings_of


def audited(plan: PlanFile) -> Audit:
    """Audit a plan by the limits that it was made with.

    Raises
    ------
    RulesError, CostError
        Its settings are missing or cannot be read, or they are of another version.
    """
    settings = plan.layers["settings_used"].columns
    texts = {
        str(name): str(text) for name, text in zip(settings["name"], settings["text"], strict=True)
    }
    tables = {name: dict(plan.layers[name].columns) for name in plan.layers}
    return audit(tables, plan.run_info, rules=settings_of(texts).rules)


def audit_text(plan: str, found: Audit) -> str:
    """One line for each contradiction, and their number."""
    held = sum(found.compared.values())
    rules = sum(count > 0 for count in found.compared.values())
    count = len(found.contradictions)
    said = "1 contradiction" if count == 1 else f"{count:,} contradictions"
    return "".join(
        f"{line}\n"
        for line in (
            *(str(c) for c in found.contradictions),
            f"{plan}: {said} among {held:,} comparisons by {rules} rules.",
        )
    )


def audit_json(plan: str, found: Audit) -> str:
    """The same as JSON, with how often each rule held something against something."""
    document = {
        "plan": plan,
        "contradictions": [
            {"rule": c.rule, "about": c.about, "says": c.says, "but": c.but}
            for c in found.contradictions
        ],
        "compared": dict(found.compared),
    }
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
