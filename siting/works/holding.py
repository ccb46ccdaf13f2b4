"""The chance that a work holds over the horizon, and what it rests on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from siting.site import Site
from siting.sites import Sites
from siting.structures.limit_checks import steepest
from siting.values.rules import Rules
from siting.values.wording import figures, metres, percent, spanned
from siting.works.curves import Chance, Factor, constant, falling, rising
from siting.works.losses import CUTTING_DOWN, WIDENING
from siting.works.reached_from_below import Below
from siting.works.work import HEADCUT, ROAD

#: What is assumed of upkeep, said wherever a chance to hold is told.
UPKEEP = "looked at after each flow and mended"


def share_made_up(sites: Sites, rows: Sequence[int]) -> float:
    """Share of the rise to the foot of the drop that is made up at a work; see `Sites.reach_share`.

    The least of its headcuts counts; without one that is built, the least of its grade controls.
    """
    heads = [i for i in rows if sites[i].proposal.at_head]
    shares = sites.reach_share[np.array(heads or list(rows), dtype=np.int64)]
    known = shares[np.isfinite(shares)]
    return float(known.min()) if known.size else 0.0


def chance_to_hold(
    sites: Sites,
    kind: str,
    rows: Sequence[int],
    below: Sequence[Below],
    *,
    rules: Rules,
    years: float,
) -> Chance:
    """Chance that a work holds, the worst of its structures deciding each factor.

    Parameters
    ----------
    sites, kind, rows
        Sites, the kind of the work, and its sites.
    below
        Untreated heads below that may come up to it; the likeliest counts.
    rules, years
        Limits and the horizon.
    """
    own = [sites[i] for i in rows]
    factors: list[Factor] = []
    if kind == HEADCUT:
        factors.append(_pair(sites, rows, rules))
    if kind != ROAD:
        factors += [*_crest(own, rules), *_slope(own, rules), *_stage(own, rules)]
        factors += [*_flows(own, rules), *_bed_beside(own, rules)]
    factors.append(_larger_flow(own[0], rules, years))
    # the likeliest counts: what it has taken the others cannot take again
    worst = max(below, key=lambda head: head.chance, default=None)
    return Chance((*factors, *([] if worst is None else [_reached(worst, rules)])))


def _pair(sites: Sites, rows: Sequence[int], rules: Rules) -> Factor:
    share = share_made_up(sites, rows)
    text = f"The crests below make up {percent(share)} of the rise to the foot of the drop"
    if all(sites[i].proposal.at_head for i in rows):
        text = "No grade control stands below the drop"
        if share >= 1.0:
            text = "What stands at the drop needs no water backed to its foot"
    return rising(rules, "chance_holds.pair", share, subject="pair", text=text)


def _crest(own: Sequence[Site], rules: Rules) -> list[Factor]:
    heights = [s.decision.sized.height_m for s in own if s.control == "grade"]
    if not heights:
        return []
    proudest = max(heights)
    text = f"The proudest crest stands {metres(proudest)} above the bed"
    subject = "proud crest"
    return [falling(rules, "chance_holds.crest", proudest, subject=subject, text=text)]


def _slope(own: Sequence[Site], rules: Rules) -> list[Factor]:
    slopes = [steepest(s.spot)[0] for s in own if s.control != "spread"]
    if not slopes:
        return []
    text = f"The bed at, above or below them falls {percent(max(slopes))}"
    return [falling(rules, "chance_holds.slope", max(slopes), subject="bed slope", text=text)]


def _stage(own: Sequence[Site], rules: Rules) -> list[Factor]:
    stages = {s.spot.form.stage for s in own if s.control != "spread"}
    subject = "stage of incision"
    if WIDENING in stages:
        text = "The reach is widening"
        return [constant(rules, "chance_holds.widening", subject=subject, text=text)]
    if CUTTING_DOWN in stages:
        text = "The reach is still cutting down"
        return [constant(rules, "chance_holds.cutting_down", subject=subject, text=text)]
    return []


def _flows(own: Sequence[Site], rules: Rules) -> list[Factor]:
    subject = "flow it is checked against"
    if any(s.fails_at_high for s in own):
        text = "A check that holds at the likely flow fails at the high end of its range"
        return [constant(rules, "chance_holds.high_flow", subject=subject, text=text)]
    if any(s.design_flow is None for s in own):
        text = "No flow is known to check stone and wood against"
        if any(s.width_unseen and s.spot.flow_m3s() > 0 for s in own):
            text = "Nobody saw how wide the channel is that stone and wood are checked in"
        return [constant(rules, "chance_holds.no_flow", subject=subject, text=text)]
    return []


def _bed_beside(own: Sequence[Site], rules: Rules) -> list[Factor]:
    """Pull of the likely flow on the bed above and below, over the most that it may stand."""
    at_ends = [[held.least_reach_ratio for _, held in s.bed_and_bank_ends] for s in own]
    known = [ends for ends in ([r for r in one if r is not None] for one in at_ends) if ends]
    if not known:
        return []
    hardest = max(known, key=max)
    worst = max(hardest)
    text = spanned(
        *(
            f"Beside it the likely flow pulls {figures(ratio)} times as hard as the bed may stand"
            for ratio in (min(hardest), worst)
        )
    )
    if min(hardest) < worst:
        text += ", by the width that nobody saw; the most counts"
    return [falling(rules, "chance_holds.bed", worst, subject="bed beside it", text=text)]


def passed_within(years: float, return_period_yr: float) -> float:
    """Chance that a flow of a return period is passed within so many years: 1 - (1 - 1/T)^n."""
    return float(1.0 - (1.0 - 1.0 / return_period_yr) ** years)


def _larger_flow(site: Site, rules: Rules, years: float) -> Factor:
    limit, period = rules["chance_holds.larger_flow"], site.spot.floods.design_period_yr
    passed = passed_within(years, period)
    value = 1.0 - passed * limit.value
    text = (
        f"The {period:g}-year flow is passed in {years:g} years with a chance of {passed:.2f}; if "
        f"it is {UPKEEP}, the work is lost for good then with {limit.value:g}: {value:.3g}"
    )
    return Factor("larger flow", value, text, limit.source, limit.basis)


def _reached(head: Below, rules: Rules) -> Factor:
    limit = rules["chance_holds.reach"]
    value = 1.0 - head.chance
    text = f"{head.how} That it does not come there: {value:.3g}"
    return Factor("untreated head below", value, text, limit.source, limit.basis)
