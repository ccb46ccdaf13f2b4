"""What the record of the run counts, against what is in the layers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from siting.audit.plan_tables import NOT_BUILT, Contradiction, PlanTables

RULE = "counts of the record"
_N = r"(\d[\d,]*)"
_COMES_FIRST = re.compile(rf"Work (\d+)\b.* comes first: for (?:about )?{_N}(?: to {_N})? ")


@dataclass(frozen=True, slots=True)
class Count:
    """A count that a row of the record may tell, and what it counts."""

    words: str
    of: str


#: Each pattern has one number.
COUNTS = (
    Count(rf"{_N} headcuts?\b", "headcuts"),
    Count(rf"and {_N} sites? inside", "sites"),
    Count(rf"in {_N} works?:", "works"),
    Count(rf"^{_N} of [\d,]+ works? chosen", "works chosen"),
    Count(rf"works? chosen, {_N} sites?", "sites chosen"),
    Count(rf"Nobody saw how wide the channel is at {_N} of", "sites of unseen width"),
    Count(rf"Nobody saw how wide the channel is at [\d,]+ of {_N} sites", "sites"),
)
#: Rows of the record that are a count by themselves.
ROWS = {"works": "works", "sites": "sites"}


def counts(plan: PlanTables) -> Iterator[Contradiction]:
    """Numbers told by the record of the run."""
    have = _have(plan)
    for name, text in plan.facts.items():
        if name in ROWS and text.isdigit():
            yield from _held(plan, name, int(text), ROWS[name], have)
        if name != "summary" and not re.fullmatch(r"(work|caution|note)( revised)? \d+", name):
            continue
        for count in COUNTS:
            if count.of == "headcuts" and name != "summary":
                continue
            match = re.search(count.words, text)
            if match:
                yield from _held(plan, name, int(match[1].replace(",", "")), count.of, have)
    yield from _first(plan)


def _have(plan: PlanTables) -> dict[str, int]:
    sites, works = list(plan.sites()), plan.rows("works")
    return {
        "headcuts": len(plan.rows("headcuts")),
        "sites": len(sites),
        "works": len(works),
        "works chosen": sum(bool(w["chosen"]) for w in works),
        "sites chosen": sum(
            bool(s["chosen"]) and s["control"] not in NOT_BUILT for s in sites
        ),
        "sites of unseen width": sum(s["width_source"] == "curve" for s in sites),
    }  # fmt: skip


def _held(
    plan: PlanTables, name: str, said: int, of: str, have: dict[str, int]
) -> Iterator[Contradiction]:
    plan.compared[RULE] += 1
    if said != have[of]:
        yield Contradiction(RULE, f"“{name}”", f"{said} {of} are told", f"the plan has {have[of]}")


def _first(plan: PlanTables) -> Iterator[Contradiction]:
    """The work that comes first has the first rank, and the money that is told of it."""
    match = _COMES_FIRST.search(plan.facts.get("summary", ""))
    if match is None:
        return
    plan.compared[RULE] += 1
    first = next((w for w in plan.rows("works") if int(w["rank"]) == 1), None)
    if first is None or int(first["work_id"]) != int(match[1]):
        yield Contradiction(
            RULE, "the summary", f"work {match[1]} comes first", "another has rank 1"
        )
        return
    ends = ("cost_low", "cost_high") if first["width_unseen"] else ("cost_likely",)
    told = [match[2], *([match[3]] if match[3] else [])]
    if [f"{float(first[name]):,.0f}" for name in ends] != told:
        yield Contradiction(
            RULE, "the summary", f"work {match[1]} costs {' to '.join(told)}",
            " and ".join(f"{name} is {first[name]}" for name in ends),
        )  # fmt: skip
