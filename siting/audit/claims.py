"""What sentences claim, held against what is measured."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from siting.audit.figures_in_text import FIGURE, found
from siting.audit.plan_tables import NOT_BUILT, Contradiction, PlanTables, Row, at, known

#: Stages of incision at which a channel widens, or fills again.
WIDENING, FILLING = 3, (4, 5)
_POOL = re.compile(r"still pool (reaches|does not reach)")
#: Depths are rounded to this, m.
ROUNDED_M = 0.006
_MORE = re.compile(rf"More than {FIGURE} drain")


@dataclass(frozen=True, slots=True)
class Claim:
    """Words that may only stand where something holds.

    Parameters
    ----------
    rule
        Name of the rule.
    words
        A pattern.
    holds
        Says of a site with these words what speaks against them; empty for nothing.
    """

    rule: str
    words: re.Pattern[str]
    against: Callable[[Row], str]


def _whole_above(site: Row) -> str:
    if not known(site["swale_at_risk_m"]) or float(site["swale_at_risk_m"]) <= 0:
        return "no uncut swale lies above it"
    return ""


def _widens(site: Row) -> str:
    if site["setting"] == "swale":
        return "its setting is a swale"
    return "" if site["stage"] == WIDENING else f"its stage is {site['stage']}"


def _fills(site: Row) -> str:
    return "" if int(site["stage"]) in FILLING else f"its stage is {site['stage']}"


def _is_built(site: Row) -> str:
    return f"its control is {site['control']}" if site["control"] in NOT_BUILT else ""


def _height_fits(site: Row) -> str:
    height = site["structure_height_m"]
    return "" if known(height) and float(height) > 0 else "it has no height"


CLAIMS: tuple[Claim, ...] = (
    Claim("still whole", re.compile(r"still whole"), _whole_above),
    Claim("widening", re.compile(r"still widening|[Ss]tage 3"), _widens),
    Claim("filling", re.compile(r"filling by itself"), _fills),
    Claim("stops the drop", re.compile(r"stops the drop where it stands"), _is_built),
    Claim("holds the bed", re.compile(r"holds the bed, slows"), _height_fits),
)


def claims(plan: PlanTables) -> Iterator[Contradiction]:
    """Words of reasons and cautions that the site's own fields speak against."""
    for site in plan.sites():
        text = " ".join(str(site[name]) for name in ("reason", "caution") if known(site[name]))
        for claim in CLAIMS:
            match = claim.words.search(text)
            if match is None:
                continue
            plan.compared[claim.rule] += 1
            against = claim.against(site)
            if against:
                yield Contradiction(claim.rule, at(site), f"“{match.group()}” is said", against)


def more_than(plan: PlanTables) -> Iterator[Contradiction]:
    """More land drains to a site than a caution says that it is more than."""
    for site in plan.sites():
        for figure in found(_MORE, str(site["caution"] or "")):
            plan.compared["more than"] += 1
            if float(site["drainage_area_ha"]) < figure.value - figure.open_by:
                yield Contradiction(
                    "more than", at(site), f"more than {figure.text} are said to drain to it",
                    f"drainage_area_ha is {site['drainage_area_ha']}",
                )  # fmt: skip


def still_pools(plan: PlanTables) -> Iterator[Contradiction]:
    """A still pool is said to reach what it backs water to where it does."""
    sites = {int(s["site_id"]): s for s in plan.sites()}
    for row in plan.rows("reasons"):
        match = _POOL.search(str(row["text"] or ""))
        site = sites.get(int(row["site_id"]))
        if match is None or site is None or not known(site["toe_depth_m"]):
            continue
        plan.compared["still pool"] += 1
        depth = float(site["toe_depth_m"])
        if (match[1] == "reaches") != (depth >= 0) and abs(depth) > ROUNDED_M:
            yield Contradiction(
                "still pool", at(site), f"“{match[0]}” is said", f"toe_depth_m is {depth}"
            )


def settings(plan: PlanTables) -> Iterator[Contradiction]:
    """A swale is not cut: it is at no stage of cutting down, widening or filling."""
    for site in plan.sites():
        if site["setting"] != "swale":
            continue
        plan.compared["setting"] += 1
        if int(site["stage"]) > 1:
            yield Contradiction(
                "setting", at(site), "its setting is a swale", f"its stage is {site['stage']}"
            )


def summary(plan: PlanTables) -> Iterator[Contradiction]:
    """What the summary counts against the sites."""
    text = plan.facts.get("summary", "")
    sites = list(plan.sites())
    for words, control in (
        (r"(\d[\d,]*) at headcuts", ("vertical",)),
        (r"(\d[\d,]*) grade controls?", ("grade",)),
        (r"(\d[\d,]*) spreaders?", ("spread",)),
        (r"(\d[\d,]*) to refer", ("refer",)),
    ):
        match = re.search(words, text)
        if match is None:
            continue
        plan.compared["summary"] += 1
        count = sum(s["control"] in control for s in sites)
        said = int(match.group(1).replace(",", ""))
        if said != count:
            yield Contradiction(
                "summary", "the summary", f"“{match.group()}” is said", f"{count} are in the list"
            )
    first = [s for s in sites if s["control"] not in NOT_BUILT]
    if "comes first" in text:
        plan.compared["summary"] += 1
        if not first:
            yield Contradiction(
                "summary", "the summary", "something comes first", "nothing is built at all"
            )
