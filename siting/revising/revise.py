"""A plan once more, with what was measured on site in the place of what the elevations told."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from siting.effects.site_effects import Effect, holds_back
from siting.record.settings_used import SettingsUsed, settings_of
from siting.record.site_records import SiteRecord, joined, read_record, restored
from siting.record.structure_tables import Built, told_of
from siting.revising.apply import apply_field, builds_refused
from siting.revising.even_channel import SOURCE, even_effect
from siting.revising.field_rows import FieldTable, read_rows
from siting.revising.gathering import gather
from siting.revising.regrouping import regrouped
from siting.revising.site_measures import FieldSite, Planned, SetAside
from siting.site import Site
from siting.sites import Sites
from siting.structures.catalogue import structure_types
from siting.structures.structure_type import StructureType
from siting.values.columns import Columns
from siting.values.input_errors import FieldRowsError
from siting.values.wording import counted
from siting.works.making_works import Works

Project = Callable[[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True, eq=False)
class PlanParts:
    """What a plan keeps of its own making.

    Parameters
    ----------
    records
        Texts of the table ``site_records``, in the order of the sites' numbers.
    settings
        Texts of the table ``settings_used`` by name.
    length_unit
        Unit of lengths that do not say theirs: ``m``, or ``ft`` for a plan in US units.
    project
        Turns longitude and latitude into the plan's coordinates.
    """

    records: Sequence[str]
    settings: Mapping[str, str]
    length_unit: str
    project: Project


@dataclass(frozen=True, eq=False)
class Worked:
    """Sites with everything that follows from them.

    Parameters
    ----------
    records
        What they were decided from.
    sites, effects, built
        As a screening works them out.
    """

    records: tuple[SiteRecord, ...]
    sites: Sites
    effects: tuple[Effect, ...]
    built: Built

    @property
    def columns(self) -> Columns:
        """Columns that works and structures add to the sites."""
        return self.built.columns

    @property
    def works(self) -> Works:
        """Works that the sites make."""
        return self.built.takes.works

    @property
    def why_first(self) -> str:
        """Why the first work is first."""
        return self.built.why_first


@dataclass(frozen=True, slots=True, eq=False)
class Revised:
    """A plan before and after.

    Parameters
    ----------
    planned, now
        As screened, and with what was measured.
    settings
        What both were made with.
    found
        What is known from the field, by number of the site.
    tables
        Files with their rows, by revision from 1.
    set_aside
        What could not be used.
    """

    planned: Worked
    now: Worked
    settings: SettingsUsed
    found: Mapping[int, FieldSite]
    tables: tuple[FieldTable, ...]
    set_aside: tuple[SetAside, ...]

    @property
    def touched(self) -> tuple[int, ...]:
        """Numbers of the sites of which the field said something."""
        return tuple(sorted(n for n, site in self.found.items() if site.origins or site.doubts))

    @property
    def held(self) -> tuple[tuple[int, str], ...]:
        """Numbers of the sites that wait, and why."""
        sites = enumerate(self.now.sites, start=1)
        return tuple((n, s.proposal.field.hold) for n, s in sites if s.is_held)


def revise(
    parts: PlanParts,
    tables: Sequence[FieldTable],
    *,
    types: Sequence[StructureType] | None = None,
) -> Revised:
    """Work a plan out again.

    Parameters
    ----------
    parts
        The plan as screened.
    tables
        Files from the field, the earliest first; what a later one says of a measure replaces what
        an earlier one said.
    types
        Structure types to choose from; all that are installed by default.

    Raises
    ------
    RecordError, RulesError, CostError
        The plan cannot be restored.
    FieldRowsError
        The last file says nothing that can be used, or cannot be read.
    """
    settings = settings_of(parts.settings)
    wholes = settings.means.costs.wholes
    every = tuple(structure_types(wholes=wholes)) if types is None else tuple(types)
    records = tuple(
        read_record(
            text,
            rules=settings.rules,
            stock=settings.build.stock,
            design_period_yr=settings.build.design_period_yr,
        )
        for text in parts.records
    )
    if not records:
        raise FieldRowsError("a plan without sites", expected="sites that were measured")
    sites, effects = restored(records, every)
    planned = _worked(records, sites, effects, settings)
    found, aside = _gathered(parts, tables, planned)
    applied = apply_field(records, sites.each, found, types=every, keep=settings.build.keep)
    each = regrouped(sites.each, applied.sites, found, settings.rules)
    again = Sites(each, joined([r.measured for r in applied.records]))
    now = _worked(applied.records, again, _effects(planned, again), settings)
    aside = (*aside, *builds_refused(sites.each, each, found))
    return Revised(planned, now, settings, found, tuple(tables), aside)


def _gathered(
    parts: PlanParts, tables: Sequence[FieldTable], planned: Worked
) -> tuple[dict[int, FieldSite], tuple[SetAside, ...]]:
    """Take all files together, the earliest first."""
    sites = {
        i: Planned(s.proposal.at_head, s.where.x_m, s.where.y_m, on_road=s.on_road)
        for i, s in enumerate(planned.sites, start=1)
    }
    found: dict[int, FieldSite] = {}
    aside: tuple[SetAside, ...] = ()
    for revision, table in enumerate(tables, start=1):
        found, more = gather(
            read_rows(table, length_unit=parts.length_unit),
            sites,
            planned.records[0].spot.rules,
            revision=revision,
            source=table.source,
            project=parts.project,
            before=found,
        )
        aside = (*aside, *more)
    last = len(tables)
    if not any(_says(site, last) for site in found.values()):
        raise _nothing(tables[-1], [a for a in aside if a.origin.revision == last])
    return found, aside


def _says(site: FieldSite, revision: int) -> bool:
    """Whether a site's rows of one revision say more than where its point lies."""
    said = {what: origin for what, (origin, *_) in site.origins.items()}
    doubted = [origin for origin, _ in site.doubts.values()]
    told = [origin for what, origin in said.items() if what not in ("x", "y")]
    return any(origin.revision == revision for origin in (*told, *doubted))


def _nothing(table: FieldTable, aside: Sequence[SetAside]) -> FieldRowsError:
    if aside:
        first = aside[0]
        more = f", and {len(aside) - 1} more" if len(aside) > 1 else ""
        return FieldRowsError(
            f"nothing in {table.source} can be used: row {first.origin.row}: {first.reason}{more}",
            expected="measures, decisions or notes for sites of the plan",
        )
    return FieldRowsError(
        f"nothing was measured: {table.source} has {counted(len(table.rows), 'row')} and all are "
        "blank",
        expected="a measured width, depth, drop or slope, a decision or notes at one site at least",
    )


def _worked(
    records: tuple[SiteRecord, ...],
    sites: Sites,
    effects: tuple[Effect, ...],
    settings: SettingsUsed,
) -> Worked:
    """Count, price and rank as a screening does."""
    return Worked(
        records=records,
        sites=sites,
        effects=effects,
        built=told_of(
            sites,
            effects,
            rules=settings.rules,
            judging=settings.judging,
            means=settings.means,
            keep=settings.build.keep,
            design_period_yr=settings.build.design_period_yr,
            cell_m=records[0].cell_m,
        ),
    )


def _effects(planned: Worked, again: Sites) -> tuple[Effect, ...]:
    """Keep what the ground told where nothing it rests on changed."""
    out = []
    rows = zip(planned.sites, again, planned.effects, again.azimuth_deg, strict=True)
    for old, site, effect, azimuth in rows:
        if site.proposal.at_head:
            out.append(effect)
        elif not holds_back(site):
            out.append(Effect())
        elif _stands_as_before(old, site):
            out.append(effect)
        else:
            foot_m = _foot_m(old, site, float(azimuth))
            size, flow = site.decision.sized, site.design_flow
            even = even_effect(site.spot, size, foot_m=foot_m, flow=flow)
            out.append(replace(even, source=SOURCE))
    return tuple(out)


def _stands_as_before(old: Site, site: Site) -> bool:
    """Whether a structure stands at the same place, as high, in the same channel."""
    return (
        site.where == old.where
        and site.spot.section is old.spot.section
        and site.spot.slope == old.spot.slope
        and old.size is not None
        and old.size.height_m == site.decision.sized.height_m
    )


def _foot_m(old: Site, site: Site, azimuth_deg: float) -> float:
    """Distance to the foot of the drop above, from where the site stands now."""
    where, before = site.where, old.where
    angle = np.radians(azimuth_deg)
    east, north = where.x_m - before.x_m, where.y_m - before.y_m
    return float(site.foot.distance_m + east * np.sin(angle) + north * np.cos(angle))
