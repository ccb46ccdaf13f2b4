"""``gullywalk flood``: the flood methods side by side at one place."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from cli.given.floods_given import FloodsGiven, flood_options
from cli.options import (
    Checked,
    SectionCommand,
    check_distinct,
    dem_options,
    flow_options,
    json_option,
    option,
    overwrite_option,
    talk_options,
    tell_in,
    units_option,
)
from cli.progress_bar import Talk, say_if_cold

if TYPE_CHECKING:
    from cli.flood.flood_sheet import FloodSheet
    from cli.plan.fields import Units
    from cli.plan.plan_reading import PlanFile

_PERIODS = ("2", "5", "10", "25", "50", "100")
#: Options that only mean something with --at; their defaults are told apart by their source.
_AT_ONLY = (
    *FloodsGiven.__dataclass_fields__,
    "channel_area",
    "engine",
    "carve_depth",
    "carve_length",
    "edge_is_divide",
    "rules",
    "snap",
    "crs",
    "vertical_unit",
)


@dataclass(frozen=True, slots=True)
class Job:
    """What the command line asked for."""

    source: tuple[str, ...]
    at: tuple[float, float] | None
    snap: float
    floods: FloodsGiven
    channel_area: float | str | None
    engine: str
    carve_depth: float
    carve_length: float
    edge_is_divide: bool
    rules: str | None
    crs: str | None
    vertical_unit: str | None
    return_period: str
    figure: str | None
    units: Units
    as_json: bool
    overwrite: bool


def _read_point(text: str) -> tuple[float, float]:
    x, comma, y = text.partition(",")
    if not comma:
        raise ValueError
    return float(x), float(y)


@click.command(
    cls=SectionCommand,
    short_help="Show the flood methods side by side at a site or a point.",
    epilog="Every flow is an estimate; where the methods differ much, the sheet says what each was "
    "given and where it is published.",
)
@click.argument("source", nargs=-1, required=True, metavar="PLAN.gpkg SITE | --at X,Y DEM...")
@option(
    "--at",
    type=Checked("a point such as 541012,4138974", _read_point),
    metavar="X,Y",
    section="Land",
    help="A point in the raster's coordinate system instead of a site of a plan.",
)
@option(
    "--snap",
    type=click.FloatRange(min=0),
    metavar="METRES",
    default=10.0,
    show_default=True,
    section="Land",
    help="How far the point may be moved to the strongest flow path.",
)
@dem_options
@option(
    "--edge-is-divide",
    is_flag=True,
    section="Land",
    help="Take the raster's edge for a divide: for rasters cut along a basin's rim.",
)
@option(
    "--rules",
    metavar="FILE.toml",
    section="Land",
    help="Limits to use instead of the package's own: floods read the roughness of channels.",
)
@flow_options
@flood_options
@option(
    "--return-period",
    type=click.Choice(_PERIODS),
    default="10",
    show_default=True,
    section="Output",
    help="Return period of the hydrograph, years.",
)
@option(
    "--figure",
    metavar="FILE.png",
    section="Output",
    help="Draw the hydrograph: rain, runoff and flow over time.",
)
@units_option
@json_option
@overwrite_option
@talk_options
@click.pass_context
def flood(ctx: click.Context, /, **given: Any) -> None:
    """Show the flood methods side by side at one place.

    \b
    gullywalk flood plan.gpkg 12
    gullywalk flood --at 541012,4138974 DEM.tif --rain rain.csv --curve-number 80

    The first form takes everything from the plan. The second works the floods out for a point of
    an elevation raster, without looking for sites. A plan's floods come in the plan's own units
    unless --units is given.
    """  # noqa: D301 - the help needs the character itself
    floods = FloodsGiven.taken_from(given)
    job = Job(floods=floods, **given)
    talk = ctx.ensure_object(Talk)
    _check_usage(ctx, job)
    _check_target(job)
    if job.at is not None:
        tell_in(ctx, job.units)
        _write(job, _of_point(job, talk))
        return
    plan = _plan(job)
    if ctx.get_parameter_source("units") == click.core.ParameterSource.DEFAULT:
        job = replace(job, units=plan.units)
    tell_in(ctx, job.units)
    _write(job, _of_plan(job, plan))


def _check_usage(ctx: click.Context, job: Job) -> None:
    if job.at is None:
        given = click.core.ParameterSource.COMMANDLINE
        for name in _AT_ONLY:
            if ctx.get_parameter_source(name) == given:
                raise click.UsageError(
                    f"--{name.replace('_', '-')} is given without --at: the floods of a plan are "
                    "taken as they are."
                )
        if len(job.source) != 2:
            raise click.UsageError(
                "expected a plan and the number of a site, or --at X,Y and a DEM."
            )
        if not job.source[1].isdigit():
            raise click.UsageError(f"'{job.source[1]}' is not the number of a site.")
    else:
        job.floods.check_usage()
    check_distinct([*(("input", p) for p in dict.fromkeys(job.source)), ("--figure", job.figure)])


def _check_target(job: Job) -> None:
    """Refuse early what could not be written at the end."""
    from cli.plan.safe_files import check_ending, check_file_target

    if job.figure is None:
        return
    check_ending(job.figure, ".png")
    check_file_target(job.figure, overwrite=job.overwrite)


def _plan(job: Job) -> PlanFile:
    """Read the plan; its units are what its reader is used to."""
    from cli.plan.plan_reading import read_plan

    return read_plan(job.source[0], command="flood")


def _of_plan(job: Job, plan: PlanFile) -> FloodSheet:
    from cli.flood.flood_sheet import sheet_of_site

    return sheet_of_site(plan.layers, int(job.source[1]), plan=plan.name)


def _of_point(job: Job, talk: Talk) -> FloodSheet:
    import numpy as np

    from cli.flood.flood_sheet import sheet_of_point
    from siting.places.flood_at_points import floods_at, land_notes
    from siting.places.terrain_settings import TerrainSettings
    from siting.values.rules import load_rules
    from terrain.flow.conditioning import CarveLimits
    from terrain.reading.dem import read_dem
    from terrain.reading.survey import ReadOptions, survey_dem
    from terrain.values.errors import ParameterError
    from terrain.values.memory import require_memory

    assert job.at is not None  # checked by the caller
    settings = job.floods.settings()
    if settings.maps is None and not settings.can_estimate:
        from siting.floods.flood_errors import FloodInputError

        raise FloodInputError(
            settings.missing.removesuffix("."), expected="rain and runoff, or a region"
        )
    if job.channel_area == "auto":
        raise ParameterError("a channel area of auto", expected="an area such as 0.5ha here")
    terrain = TerrainSettings(
        channel_area_ha=job.channel_area,
        engine=job.engine,
        carve=CarveLimits(depth_m=job.carve_depth, length_m=job.carve_length),
        edge_is_divide=job.edge_is_divide,
    )
    say_if_cold(talk)
    options = ReadOptions(crs=job.crs, vertical_unit=job.vertical_unit)
    with talk.progress() as progress:
        require_memory(survey_dem(job.source, options).grid.size)
        reading = read_dem(job.source, options=options, progress=progress)
        x, y = job.at
        found = floods_at(
            reading.raster,
            np.array([x]),
            np.array([y]),
            settings,
            rules=load_rules(job.rules),
            terrain=terrain,
            snap_m=job.snap,
            progress=progress,
        )
    notes, cautions = land_notes(found.settings.land)
    for note in (*reading.survey.problems, *reading.notes, *notes):
        talk.detail(f"Note: {note}")
    return sheet_of_point(found, extra=cautions)


def _write(job: Job, sheet: FloodSheet) -> None:
    """Draw the figure, then print the sheet: a figure that cannot be drawn prints nothing."""
    from cli.flood.flood_text import sheet_json, sheet_text
    from terrain.values.reader_units import quantity

    period = int(job.return_period)
    if job.figure is not None:
        from cli.flood.hydrograph import draw_hydrograph

        flood = sheet.hydrograph(period)
        place = sheet.title.split(":")[0].split(", longitude")[0]
        rain = sheet.rainfall.source if sheet.rainfall is not None else ""
        area = quantity(float(sheet.inputs["drainage_area_ha"]), "ha", units=job.units, digits=3)
        draw_hydrograph(
            flood,
            path=job.figure,
            title=f"{place}: {period}-year flood",
            source_line=f"NRCS unit hydrograph (NEH part 630 chapter 16) with a balanced 24-hour "
            f"storm. Drainage area {area}, curve number "
            f"{float(sheet.inputs['curve_number']):.3g}, time of concentration "
            f"{float(sheet.inputs['tc_h']):.2g} hours. Rain: {rain}.",
            units=job.units,
            overwrite=job.overwrite,
        )
    write = sheet_json if job.as_json else sheet_text
    sys.stdout.write(write(sheet, units=job.units, return_period_yr=period))
    if job.figure is not None and not job.as_json:
        sys.stdout.write(f"Wrote {job.figure}\n")
