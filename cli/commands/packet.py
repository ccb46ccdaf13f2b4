"""``gullywalk packet``: a plan as a PDF to print and carry."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from cli.options import (
    Checked,
    SectionCommand,
    check_distinct,
    dem_of_plan_option,
    first_sites_option,
    option,
    overwrite_option,
    talk_options,
    tell_in,
)
from cli.progress_bar import Talk

if TYPE_CHECKING:
    from cli.plan.explanation import Wanted


@dataclass(frozen=True, slots=True)
class Job:
    """What the command line asked for."""

    plan: str
    out: str
    paper: str
    sites: tuple[Wanted, ...] | None
    top: int | None
    dem: tuple[str, ...]
    overwrite: bool


def _read_sites(text: str) -> tuple[Wanted, ...]:
    """Read ``12,7`` or ``rank:1,rank:2``; spaces do not matter."""
    from cli.plan.explanation import Wanted

    found = tuple(Wanted.read(part) for part in re.split(r"[,\s]+", text.strip()) if part)
    if not found:
        raise ValueError(text)
    return found


@click.command(
    cls=SectionCommand,
    short_help="Print a plan: cover, lists, and a sheet for every site.",
    epilog="Every figure is an estimate from the raster: walk to a site before building on it.",
)
@click.argument("plan", metavar="PLAN.gpkg")
@option(
    "--sites",
    type=Checked("numbers of sites such as 12,7 or rank:1", _read_sites),
    metavar="LIST",
    section="Sites",
    help="Sheets for these sites only: numbers, or rank:N, with commas.",
)
@first_sites_option(
    "Sheets for the first N works of the list only, with all their sites.", section="Sites"
)
@dem_of_plan_option("for a finer relief with contours")
@option(
    "--out",
    metavar="FILE.pdf",
    required=True,
    section="Output",
    help="PDF to write.",
)
@option(
    "--paper",
    type=click.Choice(["letter", "a4"]),
    default="letter",
    show_default=True,
    section="Output",
    help="Size of the paper.",
)
@overwrite_option
@talk_options
@click.pass_context
def packet(ctx: click.Context, /, **given: object) -> None:
    """Print a plan: cover, lists, and a sheet for every site.

    \b
    gullywalk packet plan.gpkg --out packet.pdf
    gullywalk packet plan.gpkg --top 10 --paper a4 --out packet.pdf

    A cover with the map of the ranch, what to settle first, works by rank, what an engineer looks
    at, the order to build, materials and cost; then work by work what it saves and how sure that
    is, and a sheet a site: where, why, profile and section with the structure to scale, sizes,
    build steps, flood, what can go wrong, and blanks for what is measured on site.
    Units are those of the plan.
    """  # noqa: D301 - the help needs the character itself
    job = Job(**given)  # type: ignore[arg-type]
    talk = ctx.ensure_object(Talk)
    _check_usage(job)
    from cli.packet.packet_making import chosen_sites, make_packet
    from cli.plan.plan_reading import read_plan
    from cli.plan.safe_files import replacing

    plan = read_plan(job.plan, command="packet")
    tell_in(ctx, plan.units)
    chosen = chosen_sites(plan, sites=job.sites, top=job.top)
    with talk.progress() as progress:
        made, notes = make_packet(plan, chosen, paper=job.paper, dem=job.dem, progress=progress)
    talk.notes(f"Note: {note}" for note in notes)
    with replacing(job.out, overwrite=job.overwrite) as part:
        part.write_bytes(made)
    count = len(chosen)
    sys.stdout.write(f"Wrote {job.out}: {count} {'sheet' if count == 1 else 'sheets'}\n")


def _check_usage(job: Job) -> None:
    from cli.plan.safe_files import check_ending, check_file_target

    if job.sites is not None and job.top is not None:
        raise click.UsageError("--sites and --top are given together: give one of them.")
    check_distinct([("PLAN", job.plan), ("--out", job.out)])
    check_distinct([("--out", job.out), *(("--dem", path) for path in set(job.dem))])
    check_ending(job.out, ".pdf")
    check_file_target(job.out, overwrite=job.overwrite)
