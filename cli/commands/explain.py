"""``gullywalk explain``: the whole reasoning about one site, or one work, of a plan."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.options import (
    Checked,
    SectionCommand,
    check_distinct,
    dem_of_plan_option,
    json_option,
    option,
    overwrite_option,
    talk_options,
    tell_in,
)
from cli.progress_bar import Talk

if TYPE_CHECKING:
    from cli.plan.explanation import Explanation, Wanted
    from cli.plan.layers import Layer
    from cli.plan.plan_reading import PlanFile
    from cli.plan.work_explanation import WorkExplanation


@dataclass(frozen=True, slots=True)
class Job:
    """What the command line asked for."""

    plan: str
    site: Wanted | None
    audit: bool
    picture: str | None
    dem: tuple[str, ...]
    as_json: bool
    overwrite: bool

    @property
    def wanted(self) -> Wanted:
        """Site or work that is asked for; there is one unless the whole plan is audited."""
        assert self.site is not None  # checked with the command line
        return self.site


def _read_site(text: str) -> Wanted:
    from cli.plan.explanation import Wanted

    return Wanted.read(text)


@click.command(
    cls=SectionCommand,
    short_help="Tell why a site or a work of a plan is what it is.",
    epilog="Every figure is an estimate from the raster: walk to a site before building on it.",
)
@click.argument("plan", metavar="PLAN.gpkg")
@click.argument(
    "site",
    metavar="SITE",
    required=False,
    type=Checked("the number of a site, work:N, rank:N, headcut:N or look:N", _read_site),
)
@option(
    "--audit",
    is_flag=True,
    section="Output",
    help="Tell instead where the plan contradicts itself, if anywhere; without SITE. Ends with 1 "
    "where it does.",
)
@option(
    "--picture",
    metavar="FILE.png",
    section="Output",
    help="Draw the site from close up: structures to scale, pool and sediment, headcut, channel.",
)
@dem_of_plan_option("for a finer ground with contours")
@json_option
@overwrite_option
@talk_options
@click.pass_context
def explain(ctx: click.Context, /, **given: object) -> None:
    """Tell why a site or a work of a plan is what it is.

    \b
    gullywalk explain plan.gpkg 12
    gullywalk explain plan.gpkg work:3
    gullywalk explain plan.gpkg rank:1 --picture site.png --dem DEM.tif
    gullywalk explain plan.gpkg headcut:7
    gullywalk explain plan.gpkg look:2
    gullywalk explain plan.gpkg --audit

    What was measured, limit by limit, what else could stand there and why not, sizes, spacing, the
    pair and its pool, the flood, what it takes, how to build it and how it fails; with the source
    of each, in the plan's own units. Of a work, asked for by its number or its rank: what would be
    lost, each factor of both chances, what it saves and takes, and the division behind its rank. A
    headcut that is no site says why; of a reach that may be filling again, the evidence is told.
    """  # noqa: D301 - the help needs the character itself
    job = Job(**given)  # type: ignore[arg-type]
    _check_usage(job)
    plan = _read(job)
    tell_in(ctx, plan.units)
    if job.audit:
        ctx.exit(_audit(job, plan))
    if job.wanted.by_headcut and job.picture is None and _told_headcut(job, plan):
        return
    if job.wanted.by_look:
        _tell_look(job, plan)
        return
    layers, found = plan.layers, _explanation(job, plan)
    if job.picture is not None:
        _draw(job, layers, found, ctx.ensure_object(Talk))
    _tell(job, found)


def _check_usage(job: Job) -> None:
    from cli.plan.safe_files import check_ending, check_file_target

    if job.audit and (job.site is not None or job.picture is not None):
        given = "SITE" if job.site is not None else "--picture"
        raise click.UsageError(f"--audit is of the whole plan: leave out {given}.")
    if not job.audit and job.site is None:
        raise click.UsageError(
            "No site is given. Give its number, work:N or rank:N, or --audit for the whole plan."
        )
    if job.dem and job.picture is None:
        raise click.UsageError("--dem is given without --picture.")
    check_distinct([("PLAN", job.plan), ("--picture", job.picture)])
    check_distinct([("--picture", job.picture), *(("--dem", path) for path in set(job.dem))])
    if job.picture is None:
        return
    check_ending(job.picture, ".png")
    check_file_target(job.picture, overwrite=job.overwrite)


def _read(job: Job) -> PlanFile:
    from cli.plan.plan_reading import read_plan

    return read_plan(job.plan, command="explain")


def _explanation(job: Job, plan: PlanFile) -> Explanation | WorkExplanation:
    """A site, or a work; in a plan without works each site has a rank of its own."""
    from cli.plan.explanation import explanation
    from cli.plan.work_explanation import has_works, work_explanation

    of_work = job.wanted.what == "work" or (job.wanted.by_rank and has_works(plan.layers))
    tell = work_explanation if of_work else explanation
    return tell(plan.layers, job.wanted, plan=plan.name, units=plan.units)


def _told_headcut(job: Job, plan: PlanFile) -> bool:
    """Tell of a headcut that is no site; of one that is, its site is told."""
    from cli.explain.headcut_text import headcut_json, headcut_text
    from cli.plan.explanation import headcut_of

    headcut = headcut_of(plan.layers, job.wanted.number, plan=plan.name)
    if headcut["site_id"]:
        return False
    write = headcut_json if job.as_json else headcut_text
    sys.stdout.write(write(headcut, units=plan.units))
    return True


def _tell_look(job: Job, plan: PlanFile) -> None:
    """Tell of a reach that may be filling again."""
    from cli.explain.look_text import look_json, look_text
    from cli.plan.looks_first import look_of

    if job.picture is not None:
        raise click.UsageError("A reach has no picture: leave out --picture, or give a site.")
    look = look_of(plan.layers, job.wanted.number, plan=plan.name)
    write = look_json if job.as_json else look_text
    sys.stdout.write(write(look, units=plan.units))


def _audit(job: Job, plan: PlanFile) -> int:
    """Tell every contradiction of a plan; gives the exit code, 1 where there is one."""
    from cli.explain.audited import audit_json, audit_text, audited

    found = audited(plan)
    sys.stdout.write((audit_json if job.as_json else audit_text)(plan.name, found))
    return 1 if found.contradictions else 0


def _draw(
    job: Job, layers: Mapping[str, Layer], found: Explanation | WorkExplanation, talk: Talk
) -> None:
    from cli.figures.backdrop import PlanGround, backdrop_of
    from cli.figures.site_map import site_bounds, site_map

    assert job.picture is not None  # checked by the caller
    ids = list(found.site_ids)
    plan = PlanGround(Path(job.plan), layers["sites"].crs, found.run, found.units)
    behind, notes = backdrop_of(plan, job.dem, site_bounds(layers, ids))
    for note in notes:
        talk.say(f"Note: {note}")
    site_map(
        layers,
        ids,
        path=job.picture,
        behind=behind,
        title=found.title,
        source_line=f"{behind.source_line} Plan: {found.plan}.",
        units=found.units,
        overwrite=job.overwrite,
    )


def _tell(job: Job, found: Explanation | WorkExplanation) -> None:
    sys.stdout.write(_written(found, as_json=job.as_json))
    if job.picture is not None and not job.as_json:
        sys.stdout.write(f"\nWrote {job.picture}\n")


def _written(found: Explanation | WorkExplanation, *, as_json: bool) -> str:
    from cli.explain.explanation_json import explanation_json
    from cli.explain.explanation_text import explanation_text
    from cli.explain.work_explained import work_json, work_text
    from cli.plan.work_explanation import WorkExplanation

    if isinstance(found, WorkExplanation):
        return work_json(found) if as_json else work_text(found)
    return explanation_json(found) if as_json else explanation_text(found)
