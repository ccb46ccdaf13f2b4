"""Pairs and series once some of their sites are left out, referred or found fit to build."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from siting.layout.pair_reach import LEVEL_M, SHORT, UNSEEN, head_caution
from siting.layout.proposals import Member
from siting.revising.on_hold import state_of
from siting.revising.site_measures import BUILD, FieldSite
from siting.site import Site
from siting.structures.type_looks import needs_tailwater
from siting.values.rules import Rules
from siting.values.wording import listed, metres


def regrouped(
    planned: Sequence[Site], sites: Sequence[Site], found: Mapping[int, FieldSite], rules: Rules
) -> tuple[Site, ...]:
    """Settle which sites still work together, and in which order they are built.

    A grade control waits with the headcuts that it holds the bed for, unless the field says to
    build it; a headcut whose last grade control is not built waits too where what stands there
    would be undermined without one. Whatever stands on a base that is on hold waits for it.

    Parameters
    ----------
    planned, sites
        Sites before and after what was measured, in the order of their numbers.
    found
        What is known from the field, by number of the site.
    rules
        Limits.
    """
    out = [_on_its_base(planned, sites, i) for i in range(len(sites))]
    for i, site in enumerate(out):
        heads = _heads_of(planned, i)
        if not heads or site.size is None or any(out[h].size is not None for h in heads):
            continue
        decision = found.get(i + 1, FieldSite()).decision
        named = _sites(heads)
        if decision == BUILD:
            say = f"Nothing is built at {named} above it: it stands alone."
            out[i] = _cautioned(site, (*site.proposal.words.cautions, say))
        else:
            states = listed([f"site {h + 1} {state_of(out, h)}" for h in heads])
            why = f"Hold: {states}, so that this control has no headcut to hold the bed for."
            out[i] = _with(site, field=replace(site.proposal.field, hold=why))
    for i, site in enumerate(out):
        if planned[i].proposal.at_head and site.size is not None:
            controls = _controls_of(planned, i)
            alone = bool(controls) and all(out[j].size is None for j in controls)
            if alone and needs_tailwater(site.decision.kind):
                out[i] = _without_control(site, out, controls)
            else:
                out[i] = _cautioned(site, _cautions(planned, out, i, found, rules))
    return tuple(_ordered(planned, out))


def _on_its_base(planned: Sequence[Site], sites: Sequence[Site], i: int) -> Site:
    """Hold a site while one below it that it stands on is held: the base is built first."""
    site, member = sites[i], planned[i].member
    if site.size is None:
        return site
    if planned[i].proposal.at_head:
        if not needs_tailwater(site.decision.kind):
            return site
        below = _controls_of(planned, i)
        standing = [j for j in below if sites[j].size is not None]
        bases = [j for j in below if sites[j].is_held] if standing else []
    elif member.in_series:
        own = _members(planned, member.group)
        bases = [j for j in own if planned[j].member.order < member.order and sites[j].is_held]
    else:
        bases = []
    if not bases:
        return site
    why = f"Hold: {_sites(bases)} below {_is_are(bases)} on hold, and this stands on it."
    return _with(site, field=replace(site.proposal.field, hold=why))


def _without_control(site: Site, sites: Sequence[Site], controls: Sequence[int]) -> Site:
    """Hold a headcut below which no grade control is built."""
    states = listed([f"site {j + 1} {state_of(sites, j)}" for j in controls])
    why = (
        f"Hold: no grade control below it is built ({states}), and without one the structure here "
        "is undermined. Settle that one, or look for another place 4 to 6 drop heights below the "
        "foot and screen the ranch again."
    )
    return _with(site, field=replace(site.proposal.field, hold=why))


def _with(site: Site, **changes: Any) -> Site:
    """The same site with something else in its proposal."""
    return replace(site, proposal=replace(site.proposal, **changes))


def _cautioned(site: Site, cautions: Sequence[str]) -> Site:
    return _with(site, words=replace(site.proposal.words, cautions=tuple(cautions)))


def _heads_of(planned: Sequence[Site], i: int) -> list[int]:
    """Headcuts that a grade control was planned for, as rows."""
    own = planned[i].proposal
    if own.at_head or own.head.index < 0 or not own.member.group:
        return []
    return [j for j in _members(planned, own.member.group) if planned[j].proposal.at_head]


def _controls_of(planned: Sequence[Site], i: int) -> list[int]:
    """Grade controls that were planned for a headcut, as rows."""
    group = planned[i].member.group
    return [j for j in _members(planned, group) if not planned[j].proposal.at_head]


def _members(planned: Sequence[Site], group: int) -> list[int]:
    return [j for j, s in enumerate(planned) if group and s.member.group == group]


def _cautions(
    planned: Sequence[Site],
    sites: Sequence[Site],
    i: int,
    found: Mapping[int, FieldSite],
    rules: Rules,
) -> tuple[str, ...]:
    """Say at a headcut what became of its grade controls."""
    site, controls = sites[i], _controls_of(planned, i)
    standing = [j for j in controls if sites[j].size is not None]
    said = []
    if controls and not standing:
        said.append(f"No grade control below it: {_sites(controls)} {_is_are(controls)} not built.")
    elif not controls and planned[i].is_referred:
        said.append(
            "No grade control was planned below it, as it was referred: look for a place 4 to 6 "
            "drop heights below the foot, or screen the ranch again."
        )
    for j in standing:
        if any(found.get(k + 1, FieldSite()).measured for k in (i, j)):
            said += [*_fit(sites[j], j, site, rules), *_foot(planned[i], site, j, rules)]
    kept = site.proposal.words.cautions
    if standing and any(found.get(j + 1, FieldSite()).measured for j in standing):
        kept = tuple(c for c in kept if not c.startswith((SHORT, UNSEEN)))
        for j in standing:
            control = sites[j]
            height = control.decision.sized.height_m
            told = head_caution(control.spot, height, f"See site {j + 1}.")
            kept = (told, *kept) if told else kept
    return (*kept, *said)


def _fit(control: Site, j: int, head: Site, rules: Rules) -> list[str]:
    """How a grade control fits a drop that was measured."""
    said = []
    near, far = rules.low("pair.distance"), rules.high("pair.distance")
    distance, drop = control.foot.distance_m, head.spot.drop.height_m
    share = distance / drop if drop > 0 else np.nan
    if np.isfinite(share) and not near <= share <= far:
        said.append(
            f"Site {j + 1} stands {share:.1f} drop heights below the foot; {near:g} to {far:g} are "
            "usual."
        )
    sill = head.decision.sized.dims.get("sill_height_m", np.inf)
    needed = control.spot.task.needed_height_m
    if np.isfinite(needed):
        over = control.decision.sized.height_m - needed - sill
        if over > LEVEL_M:
            said.append(
                f"The crest of site {j + 1} stands {metres(over)} above the sill here: level both "
                "before building."
            )
    return said


def _foot(planned: Site, head: Site, j: int, rules: Rules) -> list[str]:
    """Where a drop was measured anew, its foot lies elsewhere than the crest was set for."""
    off = head.spot.drop.height_m - planned.spot.drop.height_m
    measured = "drop" in head.proposal.field.measured
    if not measured or not abs(off) > rules.value("revise.tape_error"):
        return []
    return [
        f"The drop is {metres(abs(off))} {'higher' if off > 0 else 'lower'} than the elevations "
        f"show: see with a level that the crest of site {j + 1} comes to the foot."
    ]


def _ordered(planned: Sequence[Site], sites: Sequence[Site]) -> list[Site]:
    """Count the order of each group that lost a site again; what is left alone has none."""
    out = list(sites)
    for group in sorted({s.member.group for s in planned} - {0}):
        own = _members(planned, group)
        left = [i for i in own if sites[i].size is not None]
        if left == own:
            continue
        ranked = sorted(left, key=lambda i: (sites[i].member.order, i))
        orders = {i: n for n, i in enumerate(ranked, start=1)} if len(left) > 1 else {}
        for i in own:
            in_series = sites[i].member.in_series
            member = Member(group if i in orders else 0, orders.get(i, 0), in_series)
            out[i] = _with(sites[i], member=member)
    return out


def _sites(rows: Sequence[int]) -> str:
    return f"{'site' if len(rows) == 1 else 'sites'} {listed([str(i + 1) for i in rows])}"


def _is_are(rows: Sequence[int]) -> str:
    return "is" if len(rows) == 1 else "are"
