"""Pairs and series once some of their sites are left out, referred or found fit to build."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from siting.layout.headcuts_below import is_head
from siting.layout.pairs import LEVEL_M, ONLY_HOLDS
from siting.layout.proposals import Place
from siting.revising.site_measures import BUILD, FieldSite
from siting.values.rules import Rules
from siting.values.wording import listed, metres


def regrouped(
    planned: Sequence[Place], places: Sequence[Place], found: Mapping[int, FieldSite], rules: Rules
) -> tuple[Place, ...]:
    """Settle which sites still work together, and in which order they are built.

    A grade control falls away with the headcuts that it holds the bed for, unless the field says to
    build it; a headcut whose last grade control falls away says that it has none.

    Parameters
    ----------
    planned, places
        Sites before and after what was measured, in the order of their numbers.
    found
        What is known from the field, by number of the site.
    rules
        Limits.
    """
    out = list(places)
    for i, place in enumerate(places):
        heads = _heads_of(planned, i)
        if not heads or not _stands(place) or any(_stands(places[h]) for h in heads):
            continue
        decision = found.get(i + 1, FieldSite()).decision
        named = _sites(heads)
        if decision == BUILD:
            say = f"Nothing is built at {named} above it: it stands alone."
            out[i] = replace(place, cautions=(*place.cautions, say))
        else:
            why = f"It falls away with {named} above it, where nothing is built by hand."
            out[i] = replace(place, left_out=why)
    for i, place in enumerate(out):
        if is_head(planned[i]) and _stands(place):
            out[i] = _with_cautions(planned, out, i, found, rules)
    return tuple(_ordered(planned, out))


def _stands(place: Place) -> bool:
    """Whether something is built by hand there."""
    return place.control != "refer" and not place.left_out


def _heads_of(planned: Sequence[Place], i: int) -> list[int]:
    """Headcuts that a grade control was planned for, as rows."""
    place = planned[i]
    if is_head(place) or place.headcut < 0:
        return []
    return [j for j, p in enumerate(planned) if is_head(p) and p.group == place.group and p.group]


def _controls_of(planned: Sequence[Place], i: int) -> list[int]:
    """Grade controls that were planned for a headcut, as rows."""
    group = planned[i].group
    return [j for j, p in enumerate(planned) if group and p.group == group and not is_head(p)]


def _with_cautions(
    planned: Sequence[Place],
    places: Sequence[Place],
    i: int,
    found: Mapping[int, FieldSite],
    rules: Rules,
) -> Place:
    """Say at a headcut what became of its grade controls."""
    place, controls = places[i], _controls_of(planned, i)
    standing = [j for j in controls if _stands(places[j])]
    said = []
    if controls and not standing:
        said.append(
            f"No grade control below it: {_sites(controls)} {_is_are(controls)} not built. Without "
            "one the structure here is undermined."
        )
    elif not controls and planned[i].control == "refer":
        said.append(
            "No grade control was planned below it, as it was referred: look for a place 4 to 6 "
            "drop heights below the foot, or screen the ranch again."
        )
    for j in standing:
        if any(found.get(k + 1, FieldSite()).measured for k in (i, j)):
            said += [*_fit(places[j], j, place, rules), *_foot(planned[i], place, j, rules)]
    kept = place.cautions
    if standing and any(found.get(j + 1, FieldSite()).measured for j in standing):
        kept = tuple(c for c in kept if not c.startswith(ONLY_HOLDS))
        said += [f"{ONLY_HOLDS} see site {j + 1}." for j in standing if _only_holds(places[j])]
    return replace(place, cautions=(*kept, *said))


def _only_holds(place: Place) -> bool:
    """Whether a grade control of a pair is too low to back water to the foot."""
    spot = None if place.decision is None else place.decision.spot
    return spot is not None and spot.purpose == "grade" and not np.isfinite(spot.needed_height_m)


def _fit(control: Place, j: int, head: Place, rules: Rules) -> list[str]:
    """How a grade control fits a drop that was measured."""
    said = []
    near, far = rules.low("pair.distance"), rules.high("pair.distance")
    distance, drop = control.foot_distance_m, head.headcut_height_m
    share = distance / drop if drop > 0 else np.nan
    if np.isfinite(share) and not near <= share <= far:
        said.append(
            f"Site {j + 1} stands {share:.1f} drop heights below the foot; {near:g} to {far:g} are "
            "usual."
        )
    size = None if head.decision is None else head.decision.size
    sill = np.inf if size is None else size.dims.get("sill_height_m", np.inf)
    own = None if control.decision is None else control.decision
    if own is not None and own.size is not None and np.isfinite(own.spot.needed_height_m):
        over = own.size.height_m - own.spot.needed_height_m - sill
        if over > LEVEL_M:
            said.append(
                f"The crest of site {j + 1} stands {metres(over)} above the sill here: level both "
                "before building."
            )
    return said


def _foot(planned: Place, head: Place, j: int, rules: Rules) -> list[str]:
    """Where a drop was measured anew, its foot lies elsewhere than the crest was set for."""
    off = head.headcut_height_m - planned.headcut_height_m
    if "drop" not in head.on_site or not abs(off) > rules.value("revise.tape_error"):
        return []
    return [
        f"The drop is {metres(abs(off))} {'higher' if off > 0 else 'lower'} than the elevations "
        f"show: see with a level that the crest of site {j + 1} comes to the foot."
    ]


def _ordered(planned: Sequence[Place], places: Sequence[Place]) -> list[Place]:
    """Count the order of each group that lost a site again; what is left alone has none."""
    members: dict[int, list[int]] = {}
    for i, p in enumerate(planned):
        if p.group:
            members.setdefault(p.group, []).append(i)
    out = list(places)
    for own in members.values():
        left = [i for i in own if _stands(out[i])]
        if left == own:
            continue
        for i in own:
            out[i] = replace(out[i], group=0, build_order=0)
        if len(left) > 1:
            ranked = sorted(left, key=lambda i: (places[i].build_order, i))
            for n, i in enumerate(ranked, start=1):
                out[i] = replace(out[i], group=places[i].group, build_order=n)
    return out


def _sites(rows: Sequence[int]) -> str:
    return f"{'site' if len(rows) == 1 else 'sites'} {listed([str(i + 1) for i in rows])}"


def _is_are(rows: Sequence[int]) -> str:
    return "is" if len(rows) == 1 else "are"
