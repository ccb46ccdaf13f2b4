"""From planned sites and what was measured to sites decided again.

Where a measure, the place or a decision changed, the structure types choose again among themselves;
everywhere else a site stays exactly as it was planned.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from siting.layout.at_headcuts import KEEP_OFF, referral
from siting.layout.clearance import LIMITS, near, position_error_m
from siting.layout.headcuts_below import is_head
from siting.layout.keep_clear import KINDS, KeepClear
from siting.layout.measuring import Decision, decide
from siting.layout.pairs import BACKS_WATER, TOO_LOW_HERE
from siting.layout.proposals import ENGINEER, MORE_ELEVATIONS, Place
from siting.record.site_records import SiteRecord
from siting.revising.measured_spots import measured_record, move_of, shown_size
from siting.revising.site_measures import (
    BUILD,
    CONFLICTING,
    REFER,
    SKIP,
    FieldSite,
    SetAside,
)
from siting.structures.spacing_table import SpacingRow, spacing_rows
from siting.structures.structure_type import Check, StructureType
from siting.values.wording import figures, metres, sentences

#: Notes from the field are quoted in a sentence up to so many characters; all of them stand in the
#: layer.
QUOTED = 200
NOT_SHOWN = "the elevations do not show it"


@dataclass(frozen=True, slots=True)
class Applied:
    """Sites after what was measured.

    Parameters
    ----------
    records
        As measured, in the order of the sites' numbers; their places are decided.
    set_aside
        Decisions that could not be followed.
    """

    records: tuple[SiteRecord, ...]
    set_aside: tuple[SetAside, ...]


def apply_field(
    records: Sequence[SiteRecord],
    places: Sequence[Place],
    found: Mapping[int, FieldSite],
    *,
    types: Sequence[StructureType],
    keep: KeepClear | None,
    cell_m: float,
) -> Applied:
    """Decide all sites again.

    Parameters
    ----------
    records, places
        The sites as planned, and with their decisions restored.
    found
        What is known from the field, by number of the site.
    types
        Structure types to choose from.
    keep
        What a moved site is held against.
    cell_m
        Cell size of the elevations.
    """
    out, aside = [], []
    for i, (record, place) in enumerate(zip(records, places, strict=True)):
        site = found.get(i + 1, FieldSite())
        now = measured_record(record, site)
        now, decided = (now, place) if now is record else _decided_again(now, place, types)
        decided = _checked_again(record, now, decided, site, keep, cell_m)
        decided = _as_told(decided, site)
        if site.decision == BUILD and decided.control == "refer":
            aside.append(_build_refused(i + 1, site, place, decided))
        measured = _measured_words(record, site)
        moved = _moved_words(record, site)
        reason = sentences([decided.reason, measured, moved])
        out.append(replace(now, place=replace(decided, reason=reason)))
    return Applied(tuple(out), tuple(aside))


def _decided_again(
    now: SiteRecord, planned: Place, types: Sequence[StructureType]
) -> tuple[SiteRecord, Place]:
    """Let the types choose at the place as measured.

    As in a screening, a grade control that cannot be high enough to back water to the drop above
    may still hold the bed.
    """
    place = replace(
        planned,
        slope=now.place.slope,
        headcut_height_m=now.place.headcut_height_m,
        on_site=now.place.on_site,
    )
    if planned.decision is None:
        return now, place
    decision = decide(now.spot, types)
    if decision.type is None and math.isfinite(now.spot.needed_height_m):
        lower = decide(replace(now.spot, needed_height_m=math.nan), types)
        decision = decision if lower.type is None else lower
    place = replace(place, decision=decision, spacing=_spacing(place, decision))
    return replace(now, spot=decision.spot), _reworded(place, planned)


def _reworded(place: Place, planned: Place) -> Place:
    """Name what is chosen now, and say in its reason why."""
    assert place.decision is not None  # checked by the caller
    assert planned.decision is not None
    refused = [c.why_not for c in place.checks if not c.passed]
    old = _says(planned.decision)
    reason = planned.reason
    for sentence in old:
        reason = " ".join(reason.replace(sentence, "").split())
    if math.isfinite(place.foot_rise_m) and place.decision.spot.purpose == "grade":
        reason = _backs_water(reason, math.isfinite(place.decision.spot.needed_height_m))
    kind = place.decision.type
    if kind is None or refused:
        return replace(
            place,
            control="refer",
            structure=referral(place.decision, refused),
            reason=sentences([reason, *(_says(place.decision) if kind is None else ())]),
            cautions=(KEEP_OFF,) if is_head(planned) else planned.cautions,
        )
    return replace(
        place,
        control=kind.control,
        structure=kind.name,
        reason=sentences([reason, place.decision.summary]),
        cautions=tuple(c for c in planned.cautions if c != KEEP_OFF),
    )


def _backs_water(reason: str, backs: bool) -> str:
    """Say whether a grade control of a pair backs water to the foot of the drop now."""
    if backs:
        return reason.replace(TOO_LOW_HERE, "As measured it backs water to the foot.")
    if TOO_LOW_HERE in reason:
        return reason
    return sentences([reason.replace(BACKS_WATER, ""), TOO_LOW_HERE])


def _says(decision: Decision) -> tuple[str, ...]:
    """Sentences in a reason that speak of a decision."""
    if decision.type is not None:
        return (decision.summary,)
    return why_none(decision)


def why_none(decision: Decision) -> tuple[str, ...]:
    """Why no structure fits."""
    return tuple(c.why_not for c in decision.failed) or decision.nearest_why_not


def _spacing(place: Place, decision: Decision) -> tuple[SpacingRow, ...]:
    """Distances to the next structure of a series, by what was measured."""
    if not place.spacing or decision.size is None or decision.spot.purpose == "road":
        return place.spacing
    return spacing_rows(
        decision.kind.spacing_rules,
        height_m=decision.size.height_m,
        slope=decision.spot.slope,
        width_m=decision.spot.bankfull_width_m,
        rules=decision.spot.rules,
    )


def _checked_again(
    planned: SiteRecord,
    now: SiteRecord,
    place: Place,
    site: FieldSite,
    keep: KeepClear | None,
    cell_m: float,
) -> Place:
    """Hold a moved site against roads and what else is kept clear of."""
    if keep is None or not keep.size or not move_of(planned, site).distance_m:
        return place
    rules = now.spot.rules
    error = position_error_m(rules, cell_m)
    away = near(keep, np.array([now.x_m]), np.array([now.y_m])).distance_m[0]
    checks = []
    for kind, distance in zip(KINDS, away, strict=True):
        limit = rules[LIMITS[kind]]
        if distance - error >= limit.value or now.spot.purpose == "road":
            continue
        why = (
            f"Moved to {metres(float(distance))} from a {kind}: within "
            f"{metres(limit.value + error)} of one an engineer must look first."
        )
        asks = "clear of roads, buildings, ponds and culverts, with the error of the maps"
        checks.append(Check("keep_clear", asks, why, False, why, limit.source, limit.basis))
    if not checks:
        return place
    return replace(
        place,
        control="refer",
        structure=ENGINEER,
        checks=(*place.checks, *checks),
        reason=sentences([place.reason, *(c.why_not for c in checks)]),
    )


def _as_told(place: Place, site: FieldSite) -> Place:
    """Follow a decision to skip or to refer."""
    notes = quoted(site.notes)
    if site.decision == SKIP:
        return replace(place, left_out=f"Left out on site{notes}.")
    if site.decision == REFER and place.control != "refer":
        return replace(
            place,
            control="refer",
            structure=ENGINEER,
            reason=sentences([f"Referred on site{notes}.", place.reason]),
        )
    return place


def quoted(notes: str) -> str:
    """Notes from the field as the end of a sentence."""
    text = " ".join(notes.split())
    if not text:
        return ""
    return f': "{text if len(text) <= QUOTED else text[: QUOTED - 1] + "…"}"'


def _build_refused(number: int, site: FieldSite, planned: Place, place: Place) -> SetAside:
    origin, column, text = site.origins["decision"]
    if place.structure == MORE_ELEVATIONS:
        why = "More elevations are needed before anything is sized here."
    elif planned.control == "refer":
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
        ("bankfull depth", site.bankfull_depth_m, spot.bankfull_depth_m, _exact_m),
        ("drop", site.drop_m, spot.drop_m, _exact_m),
        ("slope", site.slope, spot.slope, _exact_percent),
    ):
        if math.isfinite(now):
            told = f"planned with {say(planned)}" if math.isfinite(planned) else NOT_SHOWN
            parts.append(f"{what} {say(now)} ({told})")
    return f"Measured on site: {', '.join(parts)}." if parts else ""


def _exact_m(value: float) -> str:
    """Write a measured length as exactly as it was measured."""
    return f"{figures(value, 3)} m"


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
