"""A site as the structure types see it once it was measured on site.

The section read from the elevations is stretched to the measured width and depth; where they show
none, a trapezoid takes its place. What was not measured stays as it was, except that bankfull never
stands above the banks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from siting.channels.bankfull import Bankfull, height_limit
from siting.channels.channel_reading import ChannelReading
from siting.hydraulics.cross_section import CrossSection
from siting.layout.pair_reach import LEVEL_M
from siting.places.spot import BankfullSize, Drop, Spot
from siting.places.unseen_width import MADE_UP_SIDE
from siting.record.site_records import SiteRecord
from siting.revising.site_measures import MOVE, FieldSite
from terrain.channels.sections import SectionMeasures

#: Source of a size that was measured on site.
MEASURED = "measured"
#: A made-up channel has a bed at least this wide, m.
LEAST_BED_M = 0.2


@dataclass(frozen=True, slots=True)
class Move:
    """How far a site was moved, m; downstream and to the right are above 0."""

    east_m: float = 0.0
    north_m: float = 0.0

    @property
    def distance_m(self) -> float:
        """Straight distance."""
        return math.hypot(self.east_m, self.north_m)

    def downstream_m(self, azimuth_deg: float) -> float:
        """Part of it that runs with the flow."""
        angle = math.radians(azimuth_deg)
        return self.east_m * math.sin(angle) + self.north_m * math.cos(angle)


def move_of(record: SiteRecord, found: FieldSite) -> Move:
    """How far the decision to move takes a site."""
    if found.decision != MOVE:
        return Move()
    where = record.proposal.where
    return Move(found.x_m - where.x_m, found.y_m - where.y_m)


def measured_record(record: SiteRecord, found: FieldSite) -> SiteRecord:
    """Put what was measured in the place of what the elevations told.

    Parameters
    ----------
    record
        The site as planned.
    found
        What is known from the field.

    Returns
    -------
    SiteRecord
        The same one where nothing was measured and the site was not moved.
    """
    move = move_of(record, found)
    if not found.measured and not move.distance_m:
        return record
    spot = _spot(record, found, move)
    wide = _ratio(found.width_m, shown_size(record)[0])
    proposal, where = record.proposal, record.proposal.where
    return replace(
        record,
        proposal=replace(
            proposal,
            where=replace(where, x_m=where.x_m + move.east_m, y_m=where.y_m + move.north_m),
            field=replace(proposal.field, measured=_on_site(found)),
        ),
        spot=spot,
        measured=replace(
            record.measured,
            reading=_reading(record, found, spot),
            section=_stretched(record.measured.section, wide),
        ),
    )


def _on_site(found: FieldSite) -> tuple[str, ...]:
    """What was measured."""
    own = {
        "width": found.width_m,
        "depth": found.depth_m,
        "bankfull": found.bankfull_depth_m,
        "drop": found.drop_m,
        "slope": found.slope,
    }
    return tuple(name for name, value in own.items() if math.isfinite(value))


def _spot(record: SiteRecord, found: FieldSite, move: Move) -> Spot:
    spot, rules = record.spot, record.spot.rules
    tape = rules.value("revise.tape_error")
    out, banks = spot, spot.banks
    if math.isfinite(found.slope):
        out = replace(out, slope=found.slope, slope_error=rules.value("revise.slope_error"))
    if math.isfinite(found.drop_m):
        out = replace(out, drop=Drop(found.drop_m, tape))
    if math.isfinite(found.depth_m):
        banks = replace(banks, depth_m=found.depth_m, depth_error_m=tape)
    if math.isfinite(found.width_m):
        banks = replace(banks, width_m=found.width_m)
    if banks is not spot.banks:
        seen = math.isfinite(found.width_m)
        out = replace(out, banks=banks, width_range=None if seen else out.width_range)
        section, bed = _section(record, found, out)
        out = replace(out, section=section, banks=replace(banks, bed_width_m=bed))
    out = replace(out, bankfull=_bankfull_size(record, out, found))
    if math.isfinite(found.bankfull_depth_m) or out.bankfull.depth_m != spot.bankfull.depth_m:
        limit = float(height_limit(_bankfull(record, found, out), rules).height_m[0])
        out = replace(out, bankfull=replace(out.bankfull, height_limit_m=limit))
    needed = _needed_m(record, found, out, move)
    return replace(out, task=replace(out.task, needed_height_m=needed))


def _needed_m(record: SiteRecord, found: FieldSite, spot: Spot, move: Move) -> float:
    """Crest that a pair needs: by the bed's own fall from the foot, where slope or place changed.

    Downstream the bed lies lower, so the crest has to stand higher above it.
    """
    foot = record.proposal.foot
    needed, distance = foot.rise_m, foot.distance_m
    if spot.task.purpose != "grade" or not math.isfinite(needed):
        return record.spot.task.needed_height_m
    further = move.downstream_m(float(record.measured.azimuth_deg[0]))
    if math.isfinite(found.slope):
        return max(found.slope * (distance + further) - LEVEL_M, 0.0)
    return max(needed + max(spot.slope, 0.0) * further, 0.0)


def shown_size(record: SiteRecord) -> tuple[float, float]:
    """Bank-top width and depth that the elevations show; NaN where they show no channel."""
    reading = record.measured.reading
    if reading.width_source[0] != "dem":
        return math.nan, math.nan
    return float(reading.bank_width_m[0]), float(reading.bank_depth_m[0])


def _section(record: SiteRecord, found: FieldSite, spot: Spot) -> tuple[CrossSection, float]:
    """Ground across the channel at the measured size, and the width of its bed."""
    planned, shown = record.spot, shown_size(record)
    if math.isfinite(shown[0]):
        wide, deep = _ratio(found.width_m, shown[0]), _ratio(found.depth_m, shown[1])
        ground = planned.section
        middle = float(ground.offset_m[ground.deepest])
        section = CrossSection(
            middle + (ground.offset_m - middle) * wide,
            ground.bed_m + (ground.height_m - ground.bed_m) * deep,
        )
        return section, planned.banks.bed_width_m * wide
    depth = spot.banks.depth_m
    if not math.isfinite(depth):
        depth = max(spot.bankfull.depth_m, 0.05)
    width = spot.width_m
    if not math.isfinite(width) or not math.isfinite(depth):
        return planned.section, planned.banks.bed_width_m
    bed = max(width - 2 * MADE_UP_SIDE * depth, min(LEAST_BED_M, width / 2))
    return CrossSection.trapezoid(bed, side=(width - bed) / 2 / depth, depth_m=depth), bed


def _bankfull_size(record: SiteRecord, spot: Spot, found: FieldSite) -> BankfullSize:
    """Bankfull as measured, or as estimated within the measured banks."""
    planned = record.spot.bankfull
    depth, sure = planned.depth_m, planned.sure
    width = planned.width_m * _ratio(found.width_m, shown_size(record)[0])
    if math.isfinite(found.bankfull_depth_m):
        depth, sure = found.bankfull_depth_m, True
        if depth <= spot.section.rim_m:
            width = spot.section.top_width_m(depth)
    elif math.isfinite(found.depth_m) and depth > found.depth_m:
        depth = found.depth_m
    if math.isfinite(spot.banks.width_m):
        width = min(width, spot.banks.width_m)
    return replace(planned, depth_m=depth, width_m=width, sure=sure)


def _bankfull(record: SiteRecord, found: FieldSite, spot: Spot) -> Bankfull:
    """Bankfull of one site; the estimates stay beside what was measured."""
    planned = record.measured.reading.bankfull
    if math.isfinite(found.bankfull_depth_m):
        source = np.array([MEASURED], dtype=object)
    else:
        source = planned.source.copy()
    known = np.isfinite(planned.depth_m[0]) or math.isfinite(found.bankfull_depth_m)
    return replace(
        planned,
        depth_m=np.array([spot.bankfull.depth_m if known else np.nan]),
        width_m=np.array([spot.bankfull.width_m if known else np.nan]),
        source=source,
        sure=np.array([spot.bankfull.sure]),
    )


def _reading(record: SiteRecord, found: FieldSite, spot: Spot) -> ChannelReading:
    """The channel as read, with what was measured in its place."""
    reading, rules = record.measured.reading, spot.rules
    bankfull = _bankfull(record, found, spot)
    limit = height_limit(bankfull, rules)
    changed: dict[str, Any] = {
        "bank_width_m": np.array([spot.banks.width_m]),
        "bank_depth_m": np.array([spot.banks.depth_m]),
        "bed_width_m": np.array([spot.banks.bed_width_m]),
        "bankfull": bankfull,
    }
    depth, width = float(bankfull.depth_m[0]), float(bankfull.width_m[0])
    if (depth > 0 and (depth, width) != _size(reading.bankfull)) or spot.banks.depth_m > 0:
        changed["width_depth_ratio"] = np.array([width / depth])
        changed["bank_height_ratio"] = np.array([spot.banks.depth_m / depth])
    if math.isfinite(found.width_m):
        changed["width_source"] = np.array([MEASURED], dtype=object)
    if math.isfinite(found.bankfull_depth_m) or depth != _size(reading.bankfull)[0]:
        changed |= {"height_limit_m": limit.height_m, "height_why": limit.why}
        twice = 2 * depth
        wide = spot.section.top_width_m(twice) if twice <= spot.section.rim_m else np.nan
        changed["entrenchment_ratio"] = np.array([wide / width])
    kept = {f.name: getattr(reading, f.name) for f in fields(reading) if f.name not in changed}
    return ChannelReading(**kept, **changed)


def _size(bankfull: Bankfull) -> tuple[float, float]:
    return float(bankfull.depth_m[0]), float(bankfull.width_m[0])


def _stretched(section: SectionMeasures, ratio: float) -> SectionMeasures:
    """Bank tops as far from the middle as the measured width puts them."""
    return replace(section, left_m=section.left_m * ratio, right_m=section.right_m * ratio)


def _ratio(now: float, before: float) -> float:
    """How much wider or deeper; 1 where either is not known."""
    known = math.isfinite(now) and math.isfinite(before) and before > 0
    return now / before if known else 1.0
