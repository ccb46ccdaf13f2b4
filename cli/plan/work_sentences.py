"""What a plan says of its works, as sentences for paper and page, in the plan's units."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cli.plan.explanation import Record
from cli.plan.fields import Units
from cli.plan.plan_numbers import amount, cost_words, days_words, money, width_unseen
from cli.plan.plan_works import NotBuilt, SiteGroup
from siting.values.wording import counted, figures, listed


def in_ten(chance: float) -> str:
    """Say a chance as so many times in ten; near its ends in a hundred."""
    if not 0.0 <= chance <= 1.0:
        return "unknown"
    hundredths = round(100 * chance)
    if 0.1 <= chance <= 0.9:
        return f"{round(10 * chance)} in 10"
    if 0 < hundredths < 100:
        return f"{hundredths} in 100"
    if chance in (0.0, 1.0):
        return "none" if chance == 0.0 else "certain"
    return "under 1 in 100" if hundredths == 0 else "over 99 in 100"


def saved_words(work: Record, units: Units) -> str:
    """What a work saves, in a sentence."""
    soil = amount("works", "soil_saved_m3", float(work["soil_saved_m3"]), units)
    floor = amount("works", "swale_saved_ha", float(work["swale_saved_ha"]), units)
    both = amount("works", "saved_m3", float(work["saved_m3"]), units)
    years = f"within {work['horizon_yr']:g} years"
    parts = [soil] if work["soil_saved_m3"] > 0 else []
    parts += [f"{floor} of whole floor"] if work["swale_saved_ha"] > 0 else []
    if not parts:
        return f"No soil and no floor {years}."
    if len(parts) == 1 and work["soil_saved_m3"] > 0:
        return f"{soil} of soil {years}."
    if len(parts) == 2:
        parts[0] += " of soil"
    return f"{listed(parts)} {years}, counted as {both} of soil."


def chance_words(work: Record) -> str:
    """How sure it is that it saves something, in a sentence."""
    lost, holds = float(work["chance_lost"]), float(work["chance_holds"])
    years = f"{work['horizon_yr']:g}"
    return (
        f"Without it the ground goes within {years} years with a chance of {figures(lost)} "
        f"({in_ten(lost)}); built and looked after, it holds with one of {figures(holds)} "
        f"({in_ten(holds)})."
    )


def cannot_work_words(work: Record) -> str:
    """Say so where a work cannot do what it is for; empty where it can."""
    if work["functions"]:
        return ""
    share = figures(100 * float(work["share_made_up"]))
    return (
        f"It cannot work as it stands: its crests make up {share} % of the rise to the foot of "
        "the drop."
    )


def needs_words(work: Record, groups: Sequence[SiteGroup]) -> str:
    """Say which works have to stand first; empty where none."""
    wanted = [part.strip() for part in str(work["needs"] or "").split(",") if part.strip()]
    ranks = {str(g.work["work_id"]): g.rank for g in groups if g.work is not None}
    named = [f"rank {ranks[w]}" if w in ranks else f"work {w}" for w in wanted]
    if not named:
        return ""
    verb = "has" if len(named) == 1 else "have"
    return f"The {'work' if len(named) == 1 else 'works'} of {listed(named)} {verb} to stand first."


def count_words(groups: Sequence[SiteGroup], waiting: Sequence[NotBuilt]) -> str:
    """How many works and sites there are."""
    built = sum(len(g.sites) for g in groups)
    works = any(g.work is not None for g in groups) or any(w.referred for w in waiting)
    if not works:
        return f"{counted(built + len(waiting), 'site')}, ranked"
    parts = [f"{counted(len(groups), 'work')} of {counted(built, 'site')}, ranked"]
    referred = sum(w.referred is not None for w in waiting)
    held = len(waiting) - referred
    parts += [f"{counted(referred, 'site')} for an engineer"] if referred else []
    parts += [f"{counted(held, 'site')} on hold"] if held else []
    return "; ".join(parts)


def work_rows(
    group: SiteGroup, groups: Sequence[SiteGroup], *, units: Units, currency: str
) -> list[tuple[str, str]]:
    """What is told of a work: what it saves, how sure, what it needs and takes; name and text."""
    work = group.work
    if work is None:
        return []
    how_sure = [cannot_work_words(work), chance_words(work)]
    before = [needs_words(work, groups)]
    if not work["chosen"]:
        before.append(f"Left out of the chosen set: {work['chosen_why'] or 'no reason is given.'}")
    rows = [
        ("Saves", saved_words(work, units)),
        ("How sure", " ".join(text for text in how_sure if text)),
        ("Before it", " ".join(text for text in before if text)),
        ("Takes", _takes(work, currency)),
        ("Doing less", str(work["without"] or "")),
    ]
    return [(name, text) for name, text in rows if text]


def _takes(work: Record, currency: str) -> str:
    likely, low, high = (money(float(work[f"cost_{end}"])) for end in ("likely", "low", "high"))
    words = f"{likely} {currency}".rstrip() + f" likely, {low} to {high}"
    if width_unseen(work):
        words = f"{cost_words(work)} {currency}".rstrip()
    if days := days_words(work):
        words += f"; {days} days of a crew"
    if width_unseen(work):
        words += ": nobody saw how wide the channel is, measure first"
    return f"{words}."


def sums_of(groups: Sequence[SiteGroup], units: Units) -> list[dict[str, str]]:
    """Sums of all works, and before them of those that are chosen where some are not."""
    works = [g.work for g in groups if g.work is not None]
    chosen = [g.work for g in groups if g.work is not None and g.is_chosen]
    if not works:
        return []
    if len(chosen) == len(works):
        return [_sums("Together", works, units)]
    return [_sums("The chosen set", chosen, units), _sums("All works", works, units)]


def _sums(name: str, works: Sequence[Record], units: Units) -> dict[str, str]:
    # what only some works have is a range of the sum too
    together = {
        name: math.fsum(float(work[name]) for work in works)
        for name in (*(f"cost_{end}" for end in ("low", "likely", "high")), "saved_m3",
                     "crew_days_low", "crew_days", "crew_days_high")
    }  # fmt: skip
    together["width_unseen"] = any(width_unseen(work) for work in works)
    return {
        "name": f"{name}: {counted(len(works), 'work')}",
        "saves": amount("works", "saved_m3", together["saved_m3"], units, digits=3),
        "cost": cost_words(together),
        "days": days_words(together),
    }
