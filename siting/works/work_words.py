"""A work in words: what it saves and takes, why it stands where it does, each step by hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from siting.values.wording import counted, figures, first_upper, hectares, listed, metres, quantity
from siting.works.budget_reasons import named
from siting.works.curves import Factor
from siting.works.holding import UPKEEP
from siting.works.making_works import Works
from siting.works.work import KIND_WORDS, PER_MONEY, Loss, Work

TRADE = "common practice"
_ORDER_WORDS = {
    "cost": "by what is saved for the likely cost",
    "crew-days": "by what is saved for a crew's day",
    "most-saved": "by what is saved",
}


@dataclass(frozen=True, slots=True)
class WorkReason:
    """One step of the reasoning about a work.

    Parameters
    ----------
    part
        ``sites``, ``lost``, ``chance lost``, ``chance holds``, ``saved``, ``takes``, ``needs``,
        ``rank`` or ``without``.
    site_id
        The site that it is about; 0 for the whole work.
    subject
        What it is about.
    value
        Factor of a chance, or the number that comes out; NaN where there is none.
    text, source, basis
        Sentences; where they come from, and what kind of source that is.
    """

    part: str
    site_id: int
    subject: str
    value: float
    text: str
    source: str = ""
    basis: str = ""


def work_reasons(works: Works, work: Work, *, currency: str) -> Iterator[WorkReason]:
    """The reasoning about a work, so that its rank can be followed by hand."""
    text = f"{first_upper(KIND_WORDS[work.kind])}, in the order of building: {_sites(work)}."
    yield WorkReason("sites", 0, work.kind, len(work.rows), text)
    for loss in work.losses:
        yield WorkReason("lost", loss.row + 1, "by doing nothing", np.nan, loss.how, "", TRADE)
        yield from _chance_rows(loss, works.years)
    yield from _several(work)
    for factor in work.holds.factors:
        yield _factor("chance holds", 0, factor)
    text = f"The product of these, if it is {UPKEEP}: {work.chance_holds:.3g}."
    yield WorkReason("chance holds", 0, "together", work.chance_holds, text, "", "arithmetic")
    yield _saved(work)
    yield _takes(work, currency)
    yield from _needs(works, work)
    yield from _base_of(works, work)
    yield _rank(works, work, currency)
    yield WorkReason("without", 0, "doing less", np.nan, work.without, "", TRADE)


def _chance_rows(loss: Loss, years: float) -> Iterator[WorkReason]:
    for factor in loss.chance.factors:
        yield _factor("chance lost", loss.row + 1, factor)
    text = f"The product of these is {loss.chance.value:.3g}; over {years:g} years it is "
    text += f"{loss.chance_lost:.3g}."
    yield WorkReason("chance lost", loss.row + 1, "together", loss.chance_lost, text, "",
                     "arithmetic")  # fmt: skip


def _factor(part: str, site_id: int, factor: Factor) -> WorkReason:
    text = f"{factor.text}."
    return WorkReason(
        part, site_id, factor.subject, factor.value, text, factor.source, factor.basis
    )


def _several(work: Work) -> Iterator[WorkReason]:
    """Of a work with several places the mean chance."""
    if len(work.losses) < 2:
        return
    text = (
        f"Of {len(work.losses)} places the mean, each weighted by what it would lose: "
        f"{work.chance_lost:.3g}."
    )
    yield WorkReason("chance lost", 0, "all places", work.chance_lost, text, "", "arithmetic")


def _saved(work: Work) -> WorkReason:
    floor = _soil(work.worth_m3(0.0, work.swale_lost_ha))
    text = (
        f"{_soil(work.soil_lost_m3)} of soil and {_area(work.swale_lost_ha)} of whole floor, which "
        f"count as {floor}, would be lost, together {_soil(work.lost_m3)}; times "
        f"{work.chance_lost:.3g} that they are and {work.chance_holds:.3g} that the work holds, it "
        f"saves {_soil(work.saved_m3)}: {_soil(work.soil_saved_m3)} of soil and "
        f"{_area(work.swale_saved_ha)}."
    )
    return WorkReason("saved", 0, "saved", work.saved_m3, text, "", "arithmetic")


def _soil(amount_m3: float) -> str:
    """Soil with the figures that a sum needs to be followed."""
    return quantity(amount_m3, "m3", digits=3)


def _area(area_ha: float) -> str:
    return quantity(area_ha, "ha", digits=3)


def _takes(work: Work, currency: str) -> WorkReason:
    t = work.takings
    if t.width_unseen:
        text = (
            f"{t.cost_words} {currency} and {figures(t.crew_days_low)} to "
            f"{figures(t.crew_days_high)} days of a crew: nobody saw how wide the channel is."
        )
        return WorkReason("takes", 0, "cost", np.nan, text, "", "")
    text = (
        f"{t.cost_likely:,.0f} {currency} ({t.cost_low:,.0f} to {t.cost_high:,.0f}) and "
        f"{figures(t.crew_days)} days of a crew."
    )
    return WorkReason("takes", 0, "cost", t.cost_likely, text, "", "")


def _base_of(works: Works, work: Work) -> Iterator[WorkReason]:
    """Which works it is built for, where it saves nothing of its own."""
    for number in work.base_of:
        above = works.each[number - 1]
        text = (
            f"It saves next to nothing of its own. It keeps its head from coming up to "
            f"{named(number, above.site_ids)}, which saves "
            f"{quantity(above.saved_m3, 'm3', digits=3)} with it."
        )
        yield WorkReason("needs", 0, f"base of work {number}", np.nan, text, "", TRADE)


def _needs(works: Works, work: Work) -> Iterator[WorkReason]:
    for number in work.needs:
        base = named(number, works.each[number - 1].site_ids)
        text = (
            f"The head of {base} may come up to it within {works.years:g} years: that work stands "
            "first, and a budget buys both or neither."
        )
        yield WorkReason("needs", 0, f"work {number}", np.nan, text, "", TRADE)


def _rank(works: Works, work: Work, currency: str) -> WorkReason:
    rank, of = works.rank_of[work.id], len(works)
    by = works.judging.rank_by
    value, per = work.saved_m3, ""
    widest = " at the widest that nobody saw" if work.takings.width_unseen else ""
    if by == "cost":
        value = work.saved_per_cost
        per = (
            f": {_soil(work.saved_m3)} over {work.takings.cost_likely:,.0f} {currency}{widest} "
            f"is {_soil(value)} for each {PER_MONEY:,.0f}"
        )
    elif by == "crew-days":
        value = work.saved_per_crew_day
        per = (
            f": {_soil(work.saved_m3)} over {figures(work.takings.crew_days, 3)} days{widest} is "
            f"{_soil(value)} a day"
        )
    after = " It counts together with what it needs, and comes after it." if work.needs else ""
    text = f"Rank {rank} of {of} {_ORDER_WORDS[by]}{per}.{after}"
    return WorkReason("rank", 0, f"by {by}", value, text, "", "arithmetic")


def _sites(work: Work) -> str:
    return f"{'site' if len(work.rows) == 1 else 'sites'} {listed([str(i) for i in work.site_ids])}"


def why_first(works: Works, *, currency: str) -> str:
    """Say in a few sentences why the first work is first; empty without sites."""
    saving = [work for work in works.by_rank if work.saves]
    if saving:
        return _first(works, saving[0], currency)
    said = []
    if works.each:
        said.append(
            f"None of the {counted(len(works), 'work')} that hands can build here saves ground "
            f"within {works.years:g} years: build none for that."
            if len(works) > 1
            else f"The one work that hands can build here saves no ground within {works.years:g} "
            "years: do not build it for that."
        )
    elif works.referred:
        said.append("Nothing here is for hands as it stands.")
    at_risk = next((r for r in works.referred if r.at_risk_m3 > 0), None)
    if at_risk is not None:
        said.append(
            f"Of what is referred, site {at_risk.row + 1} has most at risk: "
            f"{_amounts(at_risk.loss)} within {works.years:g} years."
        )
    return " ".join(said)


def _first(works: Works, work: Work, currency: str) -> str:
    what = named(work.id, work.site_ids).removeprefix("work ")
    parts = []
    if work.soil_saved_m3 > 0:
        parts.append(f"{quantity(work.soil_saved_m3, 'm3')} of soil")
    if work.swale_saved_ha > 0:
        parts.append(f"{hectares(work.swale_saved_ha)} of whole floor")
    weak = "" if work.functions else " It does not reach the foot of its drop: see its cautions."
    about = "" if work.takings.width_unseen else "about "
    return (
        f"Work {what}, {KIND_WORDS[work.kind]}, comes first: for {about}"
        f"{work.takings.cost_words} {currency} it saves some {listed(parts)} within "
        f"{works.years:g} years, where the loss has a chance of {work.chance_lost:.2f} and the "
        f"work one of {work.chance_holds:.2f} to hold.{weak}"
    )


def _amounts(loss: Loss | None) -> str:
    if loss is None:
        return "an amount that is not known"
    return (
        f"{quantity(loss.soil_m3, 'm3')} of soil and {hectares(loss.swale_ha)} of floor over "
        f"{metres(loss.length_m)} of channel"
    )
