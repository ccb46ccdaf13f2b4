"""``gullywalk inspect``: what a raster is and can show, what a run needs, what may go wrong."""

from __future__ import annotations

import json

import click

from cli.options import (
    SectionCommand,
    boundary_options,
    dem_argument,
    dem_options,
    json_option,
    talk_options,
    tell_in,
    units_option,
)
from cli.plan.fields import check_units
from cli.progress_bar import Talk


@click.command(
    cls=SectionCommand,
    short_help="Say what a raster is, what it can show, and what a run needs.",
    epilog="Ends with 1 when a run could not work.",
)
@dem_argument
@dem_options
@boundary_options
@units_option
@json_option
@talk_options
@click.pass_context
def inspect(
    ctx: click.Context,
    dem: tuple[str, ...],
    crs: str | None,
    vertical_unit: str | None,
    boundary: str | None,
    boundary_layer: str | None,
    units: str,
    as_json: bool,
) -> None:
    """Say what a raster is, what it can and cannot show, and what a run needs.

    DEM is an elevation raster in any format that GDAL reads, or the tiles of one. Nothing is
    written.
    """
    from cli.raster_report import report_document, report_text
    from siting.inspection import inspect_dem
    from terrain.reading.survey import ReadOptions

    shown = check_units(units)
    tell_in(ctx, shown)
    options = ReadOptions(crs=crs, vertical_unit=vertical_unit)
    with ctx.ensure_object(Talk).progress() as progress:
        found = inspect_dem(
            dem,
            options,
            boundary_file=boundary,
            boundary_layer=boundary_layer,
            progress=progress,
        )
    if as_json:
        document = report_document(found, shown)
        print(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        print(report_text(found, shown), end="")
    if not found.works:
        ctx.exit(1)
