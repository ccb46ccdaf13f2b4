"""From planned sites and what was measured to sites decided again.

Where a measure, the place or a decision changed, the structure types choose again among themselves;
everywhere else a site stays exactly as it was planned.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from siting.layout.clearance import LIMITS, near, position_error_m
from siting.layout.keep_clear import KINDS, KeepClear
from siting.layout.measuring import ASKS_CLEAR, is_clear
from siting.layout.proposals import FromField
from siting.record.site_records import SiteRecord
from siting.revising.measured_spots import measured_record, move_of, shown_size
from siting.revising.on_hold import held_for_measures, past_limits
from siting.revising.site_measures import (
    BUILD,
    CONFLICTING,
    REFER,
    SKIP,
    FieldSite,
    SetAside,
)
from siting.site import Site
from siting.structures.decisions import MORE_ELEVATIONS, decide
from siting.structures.structure_type import Check, StructureType
from siting.values.wording import exactly, figures, metres

#: Notes from the field are quoted in a sentence up to so many characters; all of them stand in the
#: layer.
QUOTED = 200
NOT_SHOWN = "the elevations do not show it"


@dataclass(frozen=True, slots=True)
class Applied:
    """Sites after what was measured.

    Parameters
    ----------
    records, sites
        As measured, and decided on that, in the order of the sites' numbers.
    """

    records: tuple[SiteRecord, ...]
    sites: tuple[Site, ...]


def apply_field(
    records: Sequence[SiteRecord],
    planned: Sequence[Site],
    found: Mapping[int, FieldSite],
    *,
    types: Sequence[StructureType],
    keep: KeepClear | None,
) -> Applied:
    """Decide all sites again.

    Parameters
    ----------
    records, planned
        The sites as planned, and decided as they were.
    found
        What is known from the field, by number of the site.
    types
        Structure types to choose from.
    keep
        What a moved site is held against.
    """
    out: list[SiteRecord] = []
    sites: list[Site] = []
    for i, (record, old) in enumerate(zip(records, planned, strict=True)):
        told = found.get(i + 1, FieldSite())
        now, site = measured_record(record, told), old
        if now is not record:
            site = _decided_again(now, types)
        checks = _checked_again(record, now, told, keep)
        if checks:
            failed = [c for c in (*site.decision.kept_clear, *checks) if not c.passed]
            kept_clear = tuple(failed) or checks
            site = replace(site, decision=replace(site.decision, kept_clear=kept_clear))
        field = _as_told(record, site, told)
        site = replace(site, proposal=replace(site.proposal, field=field))
        out.append(now)
        sites.append(past_limits(old, site, told))
    return Applied(tuple(out), tuple(sites))


def builds_refused(
    planned: Sequence[Site], sites: Sequence[Site], found: Mapping[int, FieldSite]
) -> tuple[SetAside, ...]:
    """Decisions to build that cannot be followed."""
    return tuple(
        _build_refused(number, told, planned[number - 1], sites[number - 1])
        for number, told in sorted(found.items())
        if told.decision == BUILD and sites[number - 1].size is None
    )


def _decided_again(now: SiteRecord, types: Sequence[StructureType]) -> Site:
    """Let the types choose at the place as measured.

    As in a screening, a grade control that cannot be high enough to back water to the drop above
    may still make up a part of the rise.
    """
    spot, decision = now.spot, decide(now.spot, types, kept_clear=now.kept_clear)
    if decision.type is None and math.isfinite(spot.task.needed_height_m):
        lower = replace(spot, task=replace(spot.task, short=True))
        other = decide(lower, types, kept_clear=now.kept_clear)
        if other.type is not None:
            spot, decision = lower, other
    return Site(now.proposal, spot, decision)


def _checked_again(
    planned: SiteRecord, now: SiteRecord, told: FieldSite, keep: KeepClear | None
) -> tuple[Check, ...]:
    """Hold a moved site against roads and what else is kept clear of.

    What it is too near to, or one check that it is clear; nothing where it was not moved.
    """
    if keep is None or not keep.size or not move_of(planned, told).distance_m:
        return ()
    rules, where = now.spot.rules, now.proposal.where
    error = position_error_m(rules, now.cell_m)
    away = near(keep, np.array([where.x_m]), np.array([where.y_m])).distance_m[0]
    checks = []
    for kind, distance in zip(KINDS, away, strict=True):
        limit = rules[LIMITS[kind]]
        if distance - error >= limit.value or now.spot.task.purpose == "road":
            continue
        why = (
            f"Moved to {metres(float(distance))} from a {kind}: within "
            f"{metres(limit.value + error)} of one an engineer must look first."
        )
        checks.append(Check("keep_clear", ASKS_CLEAR, why, False, why, limit.source, limit.basis))
    k = int(np.argmin(away))
    return tuple(checks) or (is_clear(KINDS[k], float(away[k])),)


def _as_told(record: SiteRecord, site: Site, told: FieldSite) -> FromField:
    """Follow a decision to skip or to refer, and say what was measured."""
    field, notes = site.proposal.field, quoted(told.notes)
    said = tuple(s for s in (_measured_words(record, told), _moved_words(record, told)) if s)
    if told.decision == SKIP:
        return replace(field, left_out=f"Left out on site{notes}.", said=said)
    if hold := held_for_measures(told):
        return replace(field, hold=hold, said=said)
    if told.decision == REFER and not site.is_referred:
        return replace(field, refer=f"Referred on site{notes}.", said=said)
    return replace(field, said=said)


def quoted(notes: str) -> str:
    """Notes from the field as the end of a sentence."""
    text = " ".join(notes.split())
    if not text:
        return ""
    return f': "{text if len(text) <= QUOTED else text[: QUOTED - 1] + "…"}"'


def _build_refused(number: int, told: FieldSite, planned: Site, site: Site) -> SetAside:
    origin, column, text = told.origins["decision"]
    if site.is_held:
        why = site.proposal.field.hold
    elif site.structure == MORE_ELEVATIONS:
        why = "More elevations are needed before anything is sized here."
    elif planned.is_referred:
        why = "The place is beyond hand work by its limits; it stays with an engineer."
    else:
        why = "With what was measured the place is beyond hand work; its reason says why."
    return SetAside(origin, str(number), column, text, CONFLICTING, why)


def _measured_words(record: SiteRecord, site: FieldSite) -> str:
    """What was measured, beside what the elevations told."""
    spot, shown = record.spot, shown_size(record)
    parts = []
    for what, now, planned, say in (
        ("width", site.width_m, shown[0], _exact_m),
        ("depth", site.depth_m, shown[1], _exact_m),
        ("bankfull depth", site.bankfull_depth_m, spot.bankfull.depth_m, _exact_m),
        ("drop", site.drop_m, spot.drop.height_m, _exact_m),
        ("slope", site.slope, spot.slope, _exact_percent),
    ):
        if math.isfinite(now):
            told = f"planned with {say(planned)}" if math.isfinite(planned) else NOT_SHOWN
            parts.append(f"{what} {say(now)} ({told})")
    return f"Measured on site: {', '.join(parts)}." if parts else ""


def _exact_m(value: float) -> str:
    """Write a measured length as exactly as it was measured."""
    return exactly(value, "m")


def _exact_percent(share: float) -> str:
    return f"{figures(100 * share, 3)} %"


def _moved_words(record: SiteRecord, site: FieldSite) -> str:
    away = move_of(record, site).distance_m
    if not away:
        return ""
    return (
        f"Moved {metres(away)} on site; drainage area, flows and elevation are still those of the "
        "planned place."
    )
