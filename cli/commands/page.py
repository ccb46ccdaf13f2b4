"""``gullywalk page``: a plan as one HTML page that opens from disk."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from cli.options import (
    SectionCommand,
    check_distinct,
    dem_of_plan_option,
    option,
    overwrite_option,
    talk_options,
    tell_in,
)


@click.command(
    cls=SectionCommand,
    short_help="Write a plan as a map page that opens from disk, without a network.",
    epilog="The page holds everything itself and asks nothing of any network; it can be mailed or "
    "put on a phone.",
)
@click.argument("plan", metavar="PLAN.gpkg")
@option("--out", required=True, metavar="FILE.html", section="Output", help="The page to write.")
@option(
    "--title",
    metavar="TEXT",
    section="Output",
    help="Heading of the page; by default the name of the ranch.",
)
@dem_of_plan_option("to shade the ground anew instead of the plan's own picture")
@overwrite_option
@talk_options
def page(plan: str, out: str, title: str | None, dem: tuple[str, ...], overwrite: bool) -> None:
    """Write a plan as a map page that opens from disk.

    \b
    gullywalk page plan.gpkg --out ranch.html

    A map to move about in, a list to sort and filter, and for each site a sheet with what to build,
    how big, why, its profile and section, materials, cost, and how to build it, in the plan's own
    units. It works by keyboard and on a phone, and prints.
    """  # noqa: D301 - the help needs the character itself
    from cli.page.ground_picture import relief_of_plan, relief_of_raster
    from cli.page.map_data import Frame
    from cli.page.page_writing import page_html
    from cli.plan.plan_reading import read_plan
    from cli.plan.safe_files import check_ending, check_file_target, write_text

    check_distinct([("PLAN", plan), ("--out", out)])
    check_distinct([("--out", out), *(("--dem", path) for path in dict.fromkeys(dem))])
    if Path(out).suffix.lower() != ".htm":
        check_ending(out, ".html")
    check_file_target(out, overwrite=overwrite)
    found = read_plan(plan, command="page")
    tell_in(click.get_current_context(), found.units)
    frame = Frame.around(found)
    picture = (
        relief_of_raster(dem, frame.bounds, found.crs, found.run_info)
        if dem
        else relief_of_plan(found.path)
    )
    text = page_html(found, frame=frame, picture=picture, title=title)
    write_text(out, text, overwrite=overwrite)
    size = len(text.encode("utf-8"))
    sites = len(found.sites["site_id"])
    places = f"{sites} {'site' if sites == 1 else 'sites'}"
    sys.stdout.write(f"Wrote {out}: {places}, {size / 1e6:.2g} MB, opens without a network\n")
