"""Sites on hold: what is measured on site can stop a work.

A measure that cannot be, or that contradicts another, and one that takes a drop past the limits of
hand work, mean: measure again. A structure without its partner waits with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from siting.revising.site_measures import REFER, SKIP, FieldSite
from siting.site import Site
from siting.values.wording import first_upper, sentences

AGAIN: Final = "Hold: measure again."


def held_for_measures(told: FieldSite) -> str:
    """Why a site is held for what was measured there; empty where it is not, or is given up."""
    if not told.doubts or told.decision in (SKIP, REFER):
        return ""
    return sentences([AGAIN, *(first_upper(why) for _, why in told.doubts.values())])


def past_limits(planned: Site, site: Site, told: FieldSite) -> Site:
    """Settle a site that was planned to be built and that its measures put past the limits.

    A drop is measured again before anybody gives it up; a control there is left out, and says so.
    """
    refused = planned.size is not None and site.decision.type is None and told.measured
    if not refused or site.proposal.field.hold or told.decision in (SKIP, REFER):
        return site
    why = " ".join(site.decision.why_none)
    field = site.proposal.field
    if site.proposal.at_head:
        field = replace(
            field,
            hold=f"{AGAIN} With what was measured it is past hand work: {why} If it is so, write "
            "the decision refer, and an engineer looks at it.",
        )
    else:
        field = replace(
            field, left_out=f"Left out: with what was measured nothing fits here. {why}"
        )
    return replace(site, proposal=replace(site.proposal, field=field))


def state_of(sites: Sequence[Site], row: int) -> str:
    """Why nothing is built at a site, in words that follow its number."""
    site = sites[row]
    if site.is_held:
        return "is on hold"
    if site.proposal.field.left_out:
        return "is left out"
    return "is referred to an engineer"
