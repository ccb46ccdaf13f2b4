"""``gullywalk waypoints``: sites and the walk to them for a phone, a receiver or a globe."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.options import (
    SectionCommand,
    check_distinct,
    dem_of_plan_option,
    first_sites_option,
    option,
    overwrite_option,
    talk_options,
    tell_in,
)
from cli.progress_bar import Talk, say_if_cold

if TYPE_CHECKING:
    from cli.plan.plan_reading import PlanFile
    from cli.waypoints.walk_making import Walked
    from cli.waypoints.waypoint import Waypoint

ENDINGS = (".gpx", ".kml", ".kmz")


@dataclass(frozen=True, slots=True)
class Job:
    """What the command line asked for."""

    plan: str
    out: str
    dem: tuple[str, ...]
    start: tuple[float, float] | None
    hours: float | None
    minutes_per_site: float | None
    top: int | None
    list_file: str | None
    map_file: str | None
    overwrite: bool


def _read_start(
    ctx: click.Context, param: click.Parameter, value: str | None
) -> tuple[float, float] | None:
    if value is None:
        return None
    try:
        first, second = (float(part) for part in value.split(","))
    except ValueError:
        first = second = float("nan")
    if not abs(first) < 1e9 or not abs(second) < 1e9:
        raise click.BadParameter(
            f"'{value}' is not a place; expected LON,LAT in degrees, or x,y in metres.", ctx, param
        )
    return first, second


@click.command(
    cls=SectionCommand,
    short_help="Write sites as GPX or KML, with the least-effort walk to them.",
    epilog="Walking times are an estimate from slopes alone; fences, brush and weather are not in "
    "them. Look where you step.",
)
@click.argument("plan", metavar="PLAN.gpkg")
@option(
    "--out",
    required=True,
    metavar="FILE",
    section="Output",
    help="File to write; its ending says what: .gpx, .kml or .kmz.",
)
@dem_of_plan_option("to find the walking order")
@option(
    "--start",
    callback=_read_start,
    metavar="LON,LAT",
    section="Walk",
    help="Where loops start and end: degrees, or x,y in the plan's metres. Without it the nearest "
    "road, or the lowest point of the ranch's edge.",
)
@option(
    "--hours",
    type=click.FloatRange(min=0, min_open=True),
    metavar="HOURS",
    section="Walk",
    help="Longest loop, with the time at the sites. Without it all is one loop.",
)
@option(
    "--minutes-per-site",
    type=click.FloatRange(min=0),
    metavar="MINUTES",
    section="Walk",
    help="Time at each site. Without it 15 minutes: common practice.",
)
@first_sites_option("Only the first so many works by rank, with all their sites.", section="Walk")
@option(
    "--list",
    "list_file",
    metavar="FILE.csv",
    section="Output",
    help="Write the legs of the walk as CSV.",
)
@option(
    "--map",
    "map_file",
    metavar="FILE.png",
    section="Output",
    help="Draw the loops on the ground.",
)
@overwrite_option
@talk_options
@click.pass_context
def waypoints(ctx: click.Context, /, **given: object) -> None:
    """Write the sites of a plan for a phone or a receiver, with the walk to them.

    \b
    gullywalk waypoints plan.gpkg --out sites.gpx
    gullywalk waypoints plan.gpkg --out sites.kmz --dem DEM.tif --hours 8 --map walk.png

    With the raster it finds the loops that visit all sites with the least walking over the ground,
    each from the start and back in the hours given; a work is one stop, its sites visited in the
    order of building. The file then also holds the ways.
    """  # noqa: D301 - the help needs the character itself
    job = Job(**given)  # type: ignore[arg-type]
    _check_usage(job)
    talk = ctx.ensure_object(Talk)
    from cli.plan.plan_reading import read_plan
    from cli.waypoints.waypoint import waypoints_of

    plan = read_plan(job.plan, command="waypoints")
    tell_in(ctx, plan.units)
    points = waypoints_of(plan, top=job.top)
    walked = _walk(job, plan, points, talk) if job.dem else None
    _write(job, plan, points, walked)
    _tell(job, plan, points, walked)


def _check_usage(job: Job) -> None:
    from cli.plan.safe_files import check_ending, check_file_target

    if not job.dem:
        for name, value in (
            ("--start", job.start),
            ("--hours", job.hours),
            ("--minutes-per-site", job.minutes_per_site),
            ("--list", job.list_file),
            ("--map", job.map_file),
        ):
            if value is not None:
                raise click.UsageError(f"{name} is given without --dem.")
    outputs = [("--out", job.out), ("--list", job.list_file), ("--map", job.map_file)]
    check_distinct([("PLAN", job.plan), *outputs])
    for path in sorted(set(job.dem)):
        check_distinct([("--dem", path), *outputs])
    check_ending(job.out, *ENDINGS)
    for other, ending in ((job.list_file, ".csv"), (job.map_file, ".png")):
        if other is not None:
            check_ending(other, ending)
    for output in (job.out, job.list_file, job.map_file):
        if output is not None:
            check_file_target(output, overwrite=job.overwrite)


def _walk(job: Job, plan: PlanFile, points: list[Waypoint], talk: Talk) -> Walked:
    from cli.waypoints.walk_making import walk_of

    say_if_cold(talk)
    with talk.progress() as progress:
        walked = walk_of(
            plan,
            points,
            job.dem,
            start=job.start,
            hours=job.hours,
            minutes_per_site=job.minutes_per_site,
            progress=progress,
        )
    for note in walked.notes:
        talk.say(f"Note: {note}")
    return walked


def _write(job: Job, plan: PlanFile, points: list[Waypoint], walked: Walked | None) -> None:
    """Write all files or none."""
    from cli.plan.safe_files import replacing
    from cli.waypoints.walk_making import document, title_of
    from cli.waypoints.walk_words import legs_csv

    with ExitStack() as stack:
        part = stack.enter_context(replacing(job.out, overwrite=job.overwrite))
        part.write_bytes(document(plan, points, walked, ending=Path(job.out).suffix.lower()))
        if job.list_file is not None and walked is not None:
            part = stack.enter_context(replacing(job.list_file, overwrite=job.overwrite))
            part.write_bytes(legs_csv(walked.walk, points, plan.units).encode("utf-8"))
        if job.map_file is not None and walked is not None:
            from cli.waypoints.walk_map import walk_map

            part = stack.enter_context(replacing(job.map_file, overwrite=job.overwrite))
            walk_map(
                walked.ground.raster,
                plan.layers,
                walked.walk,
                points,
                path=part,
                title=f"{title_of(plan, 50)}: the walk to the sites",
                source_line=f"{walked.ground.source_line(plan.units)} {walked.method}",
                units=plan.units,
            )


def _tell(job: Job, plan: PlanFile, points: list[Waypoint], walked: Walked | None) -> None:
    import textwrap

    from cli.waypoints.walk_words import how_good, left_out, legs_table, stops_words, summary

    lines: list[str] = []

    def add(text: str) -> None:
        lines.extend(textwrap.wrap(text, 100, break_on_hyphens=False))

    if walked is None:
        add(
            f"{stops_words(points)} by rank. No walking order can be made without the ground: give "
            "the plan's raster with --dem."
        )
    else:
        add(summary(walked.walk, points, plan.units))
        add(f"The walk starts at {walked.walk.start.words}.")
        lines.extend(legs_table(walked.walk, points, plan.units))
        lines.append("")
        for text in (*how_good(walked.walk), *left_out(walked.walk), walked.method):
            add(text)
    lines += [f"Wrote {name}" for name in (job.out, job.list_file, job.map_file) if name]
    sys.stdout.write("\n".join(lines) + "\n")
