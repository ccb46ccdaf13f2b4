"""The whole reasoning behind every site, row by row, so that a plan can explain itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple, dataclass

import numpy as np

from siting.effects.site_effects import Effect
from siting.hydraulics.open_channel import LOWEST_SLOPE, normal_flow
from siting.places.spot import Spot
from siting.places.unseen_width import at_each_end
from siting.record.bed_and_bank_rows import bed_rows
from siting.record.reason_measures import measured_rows
from siting.record.reason_rows import Reason
from siting.record.structure_rows import columns_of
from siting.site import Site
from siting.sites import Sites
from siting.structures.structure_type import Check
from siting.values.columns import Columns
from siting.values.wording import (
    between,
    figures,
    flow,
    hectares,
    metres,
    percent,
    quantity,
    signed_metres,
    spanned,
)
from siting.works.making_works import Works
from siting.works.work import KIND_WORDS

__all__ = ["Reason", "reason_columns"]

NAMES = ("site_id", "step", "part", "subject", "verdict", "text", "source", "basis")
TRADE = "common practice"
UNSEEN_AMOUNT = "; how much that is goes with the width, which nobody saw"


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What the reasons are told from."""

    sites: Sites
    effects: tuple[Effect, ...]
    works: Works
    cell_m: float


def reason_columns(told: Told) -> Columns:
    """Rows of the table ``reasons``: site by site, in the order in which they are read."""
    rows = []
    for i in range(told.sites.count):
        for step, reason in enumerate(_reasons(told, i), start=1):
            rows.append((i + 1, step, *astuple(reason)))
    return columns_of(NAMES, rows)


def _reasons(told: Told, i: int) -> Iterator[Reason]:
    yield from measured_rows(told.sites, i, cell_m=told.cell_m)
    yield from _flood(told.sites, i)
    yield from bed_rows(told.sites[i])
    yield from _limits(told.sites, i)
    yield from _alternatives(told.sites, i)
    yield from _sizes(told.sites, i)
    yield from _spacing(told.sites, i)
    yield from _pair(told.sites, told.effects[i], i)
    yield from _benefit(told.effects[i], unseen=told.sites[i].width_unseen)
    yield from _rank(told, i)


def _flood(sites: Sites, i: int) -> Iterator[Reason]:
    site, spot = sites[i], sites[i].spot
    if site.on_road:
        return
    state = site.design_flow
    method = sites.floods.method[i]
    if site.width_unseen and spot.flow_m3s() > 0:
        text = (
            f"The flow with a chance of 1 in {spot.floods.design_period_yr:g} a year is "
            f"{flow(spot.flow_m3s())}. How deep and fast it runs goes with the width, which nobody "
            f"saw: {_unseen_flow(spot)}."
        )
        source = f"method {method}; Manning's equation with n = {spot.roughness:g}"
        yield Reason("flood", "design flow", "", text, source, "published")
        yield from _at_high_end(site)
        return
    if state is None:
        yield Reason("flood", "design flow", "", _no_flow(spot), "", "")
        return
    text = (
        f"The flow with a chance of 1 in {spot.floods.design_period_yr:g} a year is "
        f"{flow(state.discharge_m3s)}. In the measured section it runs {metres(state.depth_m)} "
        f"deep and {quantity(state.velocity_mps, 'm/s')} fast, pulls on the bed with "
        f"{quantity(state.shear_pa, 'Pa')}, Froude number {figures(state.froude)}."
    )
    source = f"method {method}; Manning's equation with n = {spot.roughness:g}"
    yield Reason("flood", "design flow", "", text, source, "published")
    if sites.floods.note[i]:
        yield Reason("flood", "what limits it", "", str(sites.floods.note[i]), "", "")
    yield from _at_high_end(site)


def _unseen_flow(spot: Spot) -> str:
    """How the design flow runs at the narrowest and the widest that the channel may be."""
    fall = max(spot.slope, LOWEST_SLOPE)
    states = [
        normal_flow(there.section, spot.flow_m3s(), slope=fall, roughness=spot.roughness)
        for there in at_each_end(spot)
    ]
    return spanned(
        *(f"{metres(s.depth_m)} deep and {quantity(s.velocity_mps, 'm/s')} fast" for s in states)
    )


def _at_high_end(site: Site) -> Iterator[Reason]:
    """What is held against the high end of the flow's range."""
    for check in site.decision.at_high if site.size is not None else ():
        yield _check("flood", "at the high end of its range", check)


def _no_flow(spot: Spot) -> str:
    if not spot.land.complete and np.isfinite(spot.flow_m3s()):
        return (
            "The raster cuts the drainage area off. The part that it holds gives at least "
            f"{flow(spot.flow_m3s())} with a chance of 1 in {spot.floods.design_period_yr:g} a "
            "year, a minimum; nothing is sized by it."
        )
    return "The peak flow is not known here; nothing is checked against it."


def _check(part: str, subject: str, check: Check) -> Reason:
    verdict = "holds" if check.passed else "fails"
    text = f"Asked: {check.asks}. Found: {check.found}."
    if not check.passed and check.why_not not in text:
        text = f"{text} {check.why_not}"
    return Reason(part, check.rule or subject, verdict, text, check.source, check.basis)


def _limits(sites: Sites, i: int) -> Iterator[Reason]:
    """Limits of what is built; where nothing is, those that every type fails."""
    decision = sites[i].decision
    for check in decision.kept_clear:
        yield _check("limits", "kept clear", check)
    if decision.type is not None:
        for check in decision.chosen.checks[decision.kind.name]:
            yield _check("limits", decision.kind.name, check)
    else:
        for check in decision.failed:
            yield _check("limits", "every structure", check)


def _alternatives(sites: Sites, i: int) -> Iterator[Reason]:
    site, chosen = sites[i], sites[i].decision.chosen
    left_out = site.proposal.field.hold or site.proposal.field.left_out
    if left_out and chosen.type is not None:
        yield Reason("alternatives", chosen.type.name, "not chosen", left_out, "", "")
    elif not site.is_referred and chosen.type is not None:
        text = site.decision.summary
        yield Reason("alternatives", chosen.type.name, "chosen", text, "", "")
    for name, why in chosen.why_not.items():
        yield Reason("alternatives", name, "not chosen", " ".join(why), "", "")
    if site.is_referred and chosen.type is not None:
        text = "It would fit by its own limits, but the place has to be looked at first."
        yield Reason("alternatives", chosen.type.name, "not chosen", text, "", "")


def _sizes(sites: Sites, i: int) -> Iterator[Reason]:
    site = sites[i]
    for note in site.at_both(lambda _, size: size.notes) if site.ends else ():
        yield Reason("sizes", "how the sizes came about", "", note, "", "")


def _spacing(sites: Sites, i: int) -> Iterator[Reason]:
    for row in sites[i].spacing:
        if not np.isfinite(row.low_m):
            said = "no second one is needed on a level bed"
        elif np.isclose(row.low_m, row.high_m):
            said = metres(row.low_m)
        else:
            said = f"{metres(row.low_m)} to {metres(row.high_m)}"
        verdict = "chosen" if row.chosen else ""
        yield Reason("spacing", row.rule, verdict, f"{said}. {row.note}.", row.source, row.basis)


def _pair(sites: Sites, effect: Effect, i: int) -> Iterator[Reason]:
    site, member, pool = sites[i], sites[i].member, effect.pool
    unseen = sites[i].width_unseen
    if member.group:
        others = [str(j + 1) for j, s in enumerate(sites) if s.member.group == member.group]
        text = (
            f"Works together with sites {', '.join(others)}; number {member.order} of "
            f"{len(others)} to be built."
        )
        yield Reason("pair", "group", "", text, "", "")
    if pool is None:
        return
    holds = f", {quantity(pool.area_m2, 'm2')} and {quantity(pool.volume_m3, 'm3')}"
    text = (
        f"New and tight it would hold a pool {metres(pool.length_m)} long"
        f"{UNSEEN_AMOUNT if unseen else holds}. A structure of stone leaks: the still pool is the "
        "lower bound."
    )
    yield Reason("pair", "still pool", "", text, effect.source, "arithmetic")
    told = np.isfinite(pool.toe_depth_m) and not site.spot.task.dry
    if told and site.reach_share < 1.0:
        text = (
            f"It makes up {percent(site.reach_share)} of the rise to the foot of the drop. Against "
            f"the foot as measured, which may lie in a hole, the still pool stands at "
            f"{signed_metres(pool.toe_depth_m)}, error {metres(pool.toe_error_m)}."
        )
        yield Reason("pair", "depth at the foot", "fails", text, effect.source, "arithmetic")
    elif told:
        reach = "reaches" if pool.toe_depth_m >= 0 else "does not reach"
        text = (
            f"The still pool {reach} what it backs water to: {signed_metres(pool.toe_depth_m)} "
            f"there, error {metres(pool.toe_error_m)}."
        )
        verdict = "holds" if pool.toe_depth_m + pool.toe_error_m >= 0 else "fails"
        yield Reason("pair", "depth at the foot", verdict, text, effect.source, "arithmetic")
    tail = effect.tailwater
    if tail is not None and np.isfinite(tail.toe_depth_m):
        # how high it passes over the crest is told with the height
        text = f"At the design flow the water stands {metres(tail.toe_depth_m)} deep at the foot."
        source = "broad-crested weir and standard step, Chow 1959"
        yield Reason("pair", "tailwater", "", text, source, "from memory")


def _benefit(effect: Effect, *, unseen: bool) -> Iterator[Reason]:
    wedge, gain = effect.wedge, effect.benefit
    if wedge is not None:
        text = (
            f"Filled, its sediment reaches {metres(wedge.length_m)} up{UNSEEN_AMOUNT}."
            if unseen
            else f"Filled, it holds about {quantity(wedge.volume_m3, 'm3')} of sediment over "
            f"{metres(wedge.length_m)} "
            f"({between(wedge.volume_low_m3, wedge.volume_high_m3, 'm3')})."
        )
        source = "deposits at 0.5 to 0.7 of the old bed slope"
        yield Reason("benefit", "sediment held", "", text, source, "published")
    if np.isfinite(gain.rewetted_m2) and not unseen:
        text = (
            f"About {quantity(gain.rewetted_m2, 'm2')} along the pool stand less than the "
            "structure's height above the channel and may get wetter."
        )
        yield Reason("benefit", "ground rewetted", "", text, effect.source, TRADE)
    if np.isfinite(gain.swale_length_m):
        text = (
            f"{metres(gain.swale_length_m)} of uncut channel lie above, "
            f"{hectares(gain.swale_area_ha)} of floor (ends at: {gain.swale_ends_at})."
        )
        yield Reason("benefit", "ground at risk", "", text, "elevations", TRADE)
    if np.isfinite(gain.soil_at_risk_m3):
        text = f"About {quantity(gain.soil_at_risk_m3, 'm3')} of soil would go with it."
        yield Reason("benefit", "soil at risk", "", text, "elevations", "arithmetic")
    if np.isfinite(gain.retreat_m_per_yr):
        a_year = between(gain.retreat_low_m_per_yr, gain.retreat_high_m_per_yr, "m")
        text = (
            f"The head may move {a_year} a year, an order of magnitude that is "
            f"usually too high where it is dry; rain from {gain.retreat_rain}."
        )
        source = "USDA Soil Conservation Service, Technical Release 32"
        yield Reason("benefit", "retreat", "", text, source, "from memory")


def _rank(told: Told, i: int) -> Iterator[Reason]:
    if told.sites[i].is_held:
        text = "It is held: it has no place in the list until it is settled on site."
        yield Reason("rank", "hold", "", text, "", "")
        return
    works, number = told.works, int(told.works.work_id[i])
    if number:
        work = works.each[number - 1]
        text = (
            f"It belongs to work {number}, {KIND_WORDS[work.kind]}: rank {works.rank_of[number]} "
            f"of {len(works)}, number {works.build_order[i]} of {len(work.rows)} to build. The "
            f"work saves what {quantity(work.saved_m3, 'm3', digits=3)} of soil are worth within "
            f"{works.years:g} years; its own reasoning says how."
        )
        yield Reason("rank", "work", "", text, "", TRADE)
        return
    referred = next((r for r in works.referred if r.row == i), None)
    text = "It is left out: nothing is built here, and it has no rank."
    if referred is not None:
        text = (
            f"Nothing is built here by hand, so it has no rank among works. It stands "
            f"{referred.risk_rank}. of {len(works.referred)} that are referred, most at risk first."
        )
    if referred is not None and referred.loss is not None:
        lost, years = referred.loss, f"{works.years:g} years"
        text += (
            f" Within {years} {quantity(lost.soil_m3, 'm3', digits=3)} of soil and "
            f"{hectares(lost.swale_ha)} "
            f"of whole floor may go, with a chance of {lost.chance_lost:.2f}."
        )
    yield Reason("rank", "work", "", text, "", TRADE)
