"""Works: chances against their factors, what is saved against both, ranks against what is saved."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise

from siting.audit.figures_in_text import FIGURE, found
from siting.audit.plan_tables import Contradiction, PlanTables, Row, differ, known
from siting.values.wording import metres

#: Fields of works are rounded to three decimals and their factors to four.
CHANCE_OPEN = 2e-3
#: Half the last digit of a value in the reasoning.
VALUE_OPEN = 6e-5
#: A ratio of rounded numbers may be off by this share.
RATIO_OPEN = 1e-2
#: So much may a product of three of them.
SAVED_OPEN = 2e-2
#: What is less than this is next to nothing: its rounding is all there is of it, m3.
LITTLE_M3 = 0.05
#: What ``works ranked by`` may say, and the field of the order.
ORDERS = {
    "cost": "saved_per_cost",
    "crew-days": "saved_per_crew_day",
    "most-saved": "saved_m3",
}
_CUT = re.compile(rf"(?<![\d.]){FIGURE} would be cut")
_SAVES = re.compile(rf"it saves {FIGURE}")


def work_arithmetic(plan: PlanTables, *, swale_worth_m3_per_ha: float) -> Iterator[Contradiction]:
    """Everything about works that can be worked out again from the plan.

    Parameters
    ----------
    swale_worth_m3_per_ha
        What a hectare of whole floor counts as, m3 of soil.
    """
    reasons: dict[int, list[Row]] = defaultdict(list)
    for row in plan.rows("work_reasons"):
        reasons[int(row["work_id"])].append(row)
    for work in plan.rows("works"):
        own = reasons[int(work["work_id"])]
        yield from _chances(plan, work, own)
        yield from _saved(plan, work, own, swale_worth_m3_per_ha)
        yield from _held(plan, work, own)
    yield from _order(plan)
    yield from _referred(plan, swale_worth_m3_per_ha)


def _about(work: Row) -> str:
    return f"work {int(work['work_id'])}"


def _not(
    plan: PlanTables,
    rule: str,
    about: str,
    stated: tuple[str, object],
    worked_out: tuple[str, object],
    *,
    share: float = RATIO_OPEN,
    least: float = CHANCE_OPEN,
) -> Iterator[Contradiction]:
    """Hold a number, with its name, against what it comes to, with words before it."""
    plan.compared[rule] += 1
    if differ(stated[1], worked_out[1], share=share, least=least):
        yield Contradiction(
            rule, about, f"{stated[0]} is {stated[1]}", f"{worked_out[0]} {worked_out[1]}"
        )


def _chances(plan: PlanTables, work: Row, own: Sequence[Row]) -> Iterator[Contradiction]:
    """The product of the factors of each chance, and the chance that the layer has."""
    groups: dict[tuple[str, int], list[Row]] = defaultdict(list)
    for row in own:
        if row["part"] in ("chance lost", "chance holds"):
            groups[(row["part"], int(row["site_id"]))].append(row)
    for (part, _), rows in groups.items():
        together = next((r for r in rows if r["subject"] == "together"), None)
        factors = [float(r["value"]) for r in rows if r["subject"] != "together"]
        if together is None or not factors:
            continue
        stated = float(together["value"])
        product = math.prod(factors)
        if part == "chance lost":
            match = re.search(r"product of these is ([\d.]+)", str(together["text"]))
            stated = float(match.group(1)) if match else stated
        yield from _not(
            plan, "chances are their factors", _about(work),
            (f"the {part} together", stated), ("its factors come to", round(product, 4)),
            least=5e-3,
        )  # fmt: skip
    for part, field in (("chance lost", "chance_lost"), ("chance holds", "chance_holds")):
        said = [r for r in own if r["part"] == part and r["subject"] == "all places"]
        said = said or [r for r in own if r["part"] == part and r["subject"] == "together"]
        if len(said) == 1:
            yield from _not(
                plan, "chances are their factors", _about(work),
                (field, work[field]), ("its reasoning comes to", said[0]["value"]),
            )  # fmt: skip


def _saved(
    plan: PlanTables, work: Row, own: Sequence[Row], worth: float
) -> Iterator[Contradiction]:
    """What is lost times both chances is saved; over cost and days that is what ranks."""
    both = float(work["chance_lost"]) * float(work["chance_holds"])
    soil, floor = float(work["soil_lost_m3"]) * both, float(work["swale_lost_ha"]) * both
    for name, value, least in (
        ("soil_saved_m3", soil, LITTLE_M3),
        ("swale_saved_ha", floor, 3e-4),
        ("saved_m3", soil + worth * floor, 4 * LITTLE_M3),
    ):
        yield from _not(
            plan, "saved is lost times chances", _about(work), (name, work[name]),
            ("lost times both chances is", round(value, 4)), least=least, share=SAVED_OPEN,
        )  # fmt: skip
    saved = float(work["saved_m3"])
    if saved > LITTLE_M3:
        for name, takes in (
            ("saved_per_cost", float(work["cost_likely"]) / 1000.0),
            ("saved_per_crew_day", float(work["crew_days"])),
        ):
            if takes > 0:
                # both are kept with two decimals, the cost in its own money
                rounded = 0.006 / saved + (0.006 / takes if "day" in name else 0.0)
                open_by = RATIO_OPEN + rounded
                yield from _not(
                    plan, "saved for what it takes", _about(work), (name, work[name]),
                    ("saved over that is", round(saved / takes, 4)), share=open_by,
                )  # fmt: skip
    for row in own:
        if row["part"] == "saved" and known(row["value"]):
            yield from _not(
                plan, "saved is lost times chances", _about(work), ("saved_m3", saved),
                ("its reasoning says", row["value"]), least=0.01,
            )  # fmt: skip
            for figure in found(_SAVES, str(row["text"])):
                plan.compared["saved is told"] += 1
                if not figure.says(float(row["value"]), VALUE_OPEN):
                    yield Contradiction(
                        "saved is told", _about(work), f"“{figure.text}” is told",
                        f"its reasoning comes to {row['value']}",
                    )  # fmt: skip


def _held(plan: PlanTables, work: Row, own: Sequence[Row]) -> Iterator[Contradiction]:
    """Channel that would be cut is the channel that the work holds."""
    cut = [
        figure
        for row in own
        if row["part"] == "lost" and known(row["text"])
        for figure in found(_CUT, str(row["text"]))
    ]
    if not cut:
        return
    rule, held = "channel held", float(work["channel_held_m"])
    plan.compared[rule] += 1
    told = sum(f.value for f in cut)
    if abs(told - held) > sum(f.open_by for f in cut) * 1.001 + 0.01:
        yield Contradiction(
            rule, _about(work), f"its heads would cut {metres(told)}", f"channel_held_m is {held}"
        )


def _order(plan: PlanTables) -> Iterator[Contradiction]:
    """What saves more for what it takes stands first; what needs another counts with it."""
    field = ORDERS.get(plan.facts.get("works ranked by", ""))
    works = sorted(plan.rows("works"), key=lambda w: int(w["rank"]))
    ranks = [int(w["rank"]) for w in works]
    if ranks != list(range(1, len(ranks) + 1)):
        yield Contradiction("ranks", "the works", "each has a rank", "ranks are not 1, 2, 3 and on")
    place = {int(w["work_id"]): int(w["rank"]) for w in works}
    needed: set[int] = set()
    for work in works:
        for number in re.findall(r"\d+", str(work["needs"] or "")):
            needed |= {int(number), int(work["work_id"])}
            plan.compared["ranks"] += 1
            if place.get(int(number), 0) > int(work["rank"]):
                yield Contradiction(
                    "ranks", _about(work), f"it needs work {number}", "that has a later rank"
                )
    if field is None:
        return
    alone = [w for w in works if int(w["work_id"]) not in needed]
    for one, other in pairwise(alone):
        plan.compared["ranks"] += 1
        if bool(one["functions"]) != bool(other["functions"]):
            if not one["functions"]:
                yield Contradiction(
                    "ranks", _about(one), f"it stands before {_about(other)}", "it cannot work"
                )
        elif float(one[field]) < float(other[field]) * (1 - 1e-3) - 1e-3:
            yield Contradiction(
                "ranks", _about(one), f"it stands before {_about(other)}",
                f"{field} is {one[field]}, there {other[field]}",
            )  # fmt: skip


def _referred(plan: PlanTables, worth: float) -> Iterator[Contradiction]:
    """Most at risk first, and at risk is what is lost times its chance."""
    last = math.inf
    for row in sorted(plan.rows("referred"), key=lambda r: int(r["risk_rank"])):
        if not known(row["at_risk_m3"]):
            continue
        about, risk = f"site {int(row['site_id'])}", float(row["at_risk_m3"])
        lost = float(row["soil_lost_m3"]) + worth * float(row["swale_lost_ha"])
        yield from _not(
            plan, "at risk", about, ("at_risk_m3", risk),
            ("lost times its chance is", round(lost * float(row["chance_lost"]), 3)),
            least=2 * LITTLE_M3,
        )  # fmt: skip
        if risk > last + 0.01:
            yield Contradiction(
                "at risk", about, "most at risk stands first", "less stands before it"
            )
        last = risk
