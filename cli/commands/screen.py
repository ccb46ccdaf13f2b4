"""``gullywalk screen``: the main job, from an elevation raster to a ranked plan."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.given.floods_given import FloodsGiven, flood_options
from cli.given.structures_given import StructuresGiven, structure_options
from cli.options import (
    SectionCommand,
    boundary_options,
    check_distinct,
    dem_argument,
    dem_options,
    flow_options,
    json_option,
    option,
    overwrite_option,
    rule_options,
    talk_options,
    tell_in,
    units_option,
)
from cli.progress_bar import Talk, say_if_cold
from cli.remedies import all_in_options

if TYPE_CHECKING:
    from cli.given.land import Land
    from cli.plan.fields import Units
    from cli.plan.layers import Layer
    from siting.places.earth_map import EarthFile
    from siting.screen_settings import ScreenSettings
    from siting.screening import Screening
    from terrain.reading.dem import Source
    from terrain.values.progress import Progress

#: The flow shown in the list; hand-built structures are planned for it (common practice).
SHOWN_RETURN_PERIOD_YR = 10
#: Settings that go into the record of the run.
_RECORDED = (
    "boundary_layer",
    "vertical_unit",
    "crs",
    "channel_area",
    "engine",
    "carve_depth",
    "carve_length",
    "edge_is_divide",
    "horizon",
    "rank_by",
    "units",
)


@dataclass(frozen=True, slots=True)
class Job:
    """What the command line asked for."""

    dem: tuple[str, ...]
    out: str
    boundary: str | None
    boundary_layer: str | None
    floods: FloodsGiven
    structures: StructuresGiven
    channel_area: float | str | None
    engine: str
    carve_depth: float
    carve_length: float
    edge_is_divide: bool
    rules: str | None
    horizon: float | None
    rank_by: str
    crs: str | None
    vertical_unit: str | None
    units: Units
    list_file: str | None
    map_file: str | None
    date: datetime.datetime | None
    as_json: bool
    top: int
    overwrite: bool


@click.command(
    cls=SectionCommand,
    short_help="Turn an elevation raster into a ranked plan.",
    epilog="Every figure is an estimate from the raster: walk to a site before building on it.",
)
@dem_argument
@boundary_options
@dem_options
@option(
    "--edge-is-divide",
    is_flag=True,
    section="Land",
    help="Take the raster's edge for a divide: for rasters cut along a basin's rim.",
)
@flow_options
@flood_options
@structure_options
@rule_options
@option(
    "--out",
    required=True,
    metavar="FILE.gpkg",
    section="Output",
    help="The plan: channels, headcuts, drainage areas and ranked sites in one GeoPackage.",
)
@option(
    "--list",
    "list_file",
    metavar="FILE.csv",
    section="Output",
    help="Write the ranked list as CSV too.",
)
@option(
    "--map",
    "map_file",
    metavar="FILE.png",
    section="Output",
    help="Draw a map: shaded ground, channels, headcuts and ranked sites.",
)
@option(
    "--date",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    section="Output",
    help="Date written on the map, instead of today's.",
)
@units_option
@json_option
@option(
    "--top",
    type=click.IntRange(min=0),
    default=20,
    show_default=True,
    metavar="NUMBER",
    section="Output",
    help="How many works to print; the plan holds them all.",
)
@overwrite_option
@talk_options
@click.pass_context
def screen(ctx: click.Context, /, **given: Any) -> None:
    """Find where to build, from an elevation raster.

    DEM is an elevation raster in any format that GDAL reads, or the tiles of one. The plan is a
    GeoPackage that any desktop GIS opens; the ranked list is printed. Land outside the boundary
    counts as far as it drains into it.
    """
    floods = FloodsGiven.taken_from(given)
    structures = StructuresGiven.taken_from(given)
    job = Job(floods=floods, structures=structures, **given)
    talk = ctx.ensure_object(Talk)
    tell_in(ctx, job.units)
    _check_usage(job)
    _check_targets(job)
    settings = _settings(job)
    for warning in _broken_plugins(settings.means.costs.wholes):
        talk.say(f"Note: {warning}")
    say_if_cold(talk)
    with talk.progress() as progress:
        land, found = _find(job, settings, talk, progress)
        layers = _layers(job, found)
        progress("writing", 0.0)
        _write(job, land, found, layers)
        progress("writing", 1.0)
    _tell(job, land, found, layers, talk)


def _check_usage(job: Job) -> None:
    """Refuse options that contradict each other."""
    job.floods.check_usage()
    job.structures.check_usage()
    if job.structures.bank_soil_field is not None and job.floods.soils is None:
        raise click.UsageError("--bank-soil-field is given without --soils.")
    if job.boundary_layer is not None and job.boundary is None:
        raise click.UsageError("--boundary-layer is given without --boundary.")
    check_distinct(
        [
            *(("DEM", path) for path in dict.fromkeys(job.dem)),
            *_vector_inputs(job),
            ("--rules", job.rules),
            ("--costs", job.structures.costs),
            ("--out", job.out),
            ("--list", job.list_file),
            ("--map", job.map_file),
        ]
    )


def _vector_inputs(job: Job) -> list[tuple[str, str]]:
    """Input files that may hold several layers: one file may serve as boundary, soils and cover."""
    given = (*job.floods.files(), *job.structures.files())
    named = [("boundary", job.boundary), *(pair for pair in given if pair[0] != "costs")]
    first: dict[Path, tuple[str, str]] = {}
    for purpose, path in named:
        if path is not None:
            first.setdefault(Path(path).resolve(), (f"--{purpose.replace(' ', '-')}", path))
    return list(first.values())


def _check_targets(job: Job) -> None:
    """Refuse early what could not be written at the end."""
    from cli.plan.geopackage import check_target
    from cli.plan.safe_files import check_ending, check_file_target

    check_target(job.out, job.overwrite)
    for path, ending in ((job.list_file, ".csv"), (job.map_file, ".png")):
        if path is None:
            continue
        check_ending(path, ending)
        check_file_target(path, overwrite=job.overwrite)


def _settings(job: Job) -> ScreenSettings:
    from siting.places.terrain_settings import TerrainSettings
    from siting.screen_settings import ScreenSettings
    from siting.values.rules import load_rules
    from siting.works.work import Judging
    from terrain.flow.conditioning import CarveLimits

    return ScreenSettings(
        terrain=TerrainSettings(
            channel_area_ha=job.channel_area,
            engine=job.engine,
            carve=CarveLimits(depth_m=job.carve_depth, length_m=job.carve_length),
            edge_is_divide=job.edge_is_divide,
        ),
        floods=job.floods.settings(),
        build=replace(job.structures.settings(), earth_file=_earth_file(job)),
        means=job.structures.means(),
        rules=None if job.rules is None else load_rules(job.rules),
        judging=Judging(job.horizon, job.rank_by),
    )


def _earth_file(job: Job) -> EarthFile | None:
    """Soil map whose field says what banks are made of."""
    from siting.places.earth_map import EarthFile

    field, soils = job.structures.bank_soil_field, job.floods.soils
    if field is None or soils is None:
        return None
    return EarthFile(soils, field, job.floods.soils_layer)


def _broken_plugins(wholes: Collection[str]) -> tuple[str, ...]:
    """Say which plug-ins of other packages cannot be used with these prices of wholes."""
    from siting.structures.catalogue import structure_types
    from terrain.values.plugins import FLOOD_METHODS, FLOW_ENGINES, load_plugins

    kinds = {FLOW_ENGINES: "flow engine", FLOOD_METHODS: "flood method"}
    groups = [load_plugins(group, kind=kind) for group, kind in kinds.items()]
    groups.append(structure_types(wholes=wholes))
    return tuple(text for group in groups for text in group.warnings())


def _find(
    job: Job, settings: ScreenSettings, talk: Talk, progress: Progress
) -> tuple[Land, Screening]:
    """Read the land and screen it; once more on all of it where a part proved too small."""
    from cli.given.land import part_is_too_small, read_land, read_whole
    from siting.screening import screen as screen_raster
    from terrain.reading.survey import ReadOptions

    options = ReadOptions(crs=job.crs, vertical_unit=job.vertical_unit)
    land = read_land(
        job.dem,
        options,
        boundary_file=job.boundary,
        boundary_layer=job.boundary_layer,
        talk=talk,
        progress=progress,
    )
    polygon = None if land.boundary is None else land.boundary.polygon

    def once(land: Land) -> Screening:
        found = screen_raster(
            land.reading.raster, boundary_polygon=polygon, settings=settings, progress=progress
        )
        return replace(found, cautions=all_in_options(found.cautions))

    found = once(land)
    if part_is_too_small(land, found.conditioned.flow, found.counts):
        talk.detail("More land drains into the ranch than was read: reading the whole raster.")
        del found
        land = read_whole(land, job.dem, options, progress)
        found = once(land)
    return land, found


def _name(job: Job) -> str:
    from cli.given.land import ranch_name

    if job.boundary is None:
        return Path(job.dem[0]).stem
    return ranch_name(job.boundary, job.boundary_layer)


def _layers(job: Job, found: Screening) -> dict[str, Layer]:
    from cli.plan.plan_layers import plan_layers

    return plan_layers(found, name=_name(job), units=job.units)


def _inputs(job: Job, land: Land) -> list[tuple[str, Source]]:
    from cli.plan.plan_layers import file_source

    inputs = [
        ("dem" if len(job.dem) == 1 else f"dem {i}", source)
        for i, source in enumerate(land.reading.sources, start=1)
    ]
    for purpose, path in (
        ("boundary", job.boundary),
        *job.floods.files(),
        *job.structures.files(),
        ("rules", job.rules),
    ):
        if path is not None:
            inputs.append((purpose, file_source(path)))
    return inputs


def _parameters(job: Job) -> Mapping[str, object]:
    """Record the settings as they were given."""
    own = {name: getattr(job, name) for name in _RECORDED}
    return {**own, **job.floods.record(), **job.structures.record()}


def _write(job: Job, land: Land, found: Screening, layers: Mapping[str, Layer]) -> None:
    """Write all files, or none: list and map only take their place once the plan is written."""
    from cli.figures import ranch_map
    from cli.plan.geopackage import write_geopackage
    from cli.plan.list_files import Listed, list_csv
    from cli.plan.plan_layers import plan_tables, run_info
    from cli.plan.relief_layer import relief_picture
    from cli.plan.safe_files import replacing

    info = run_info(
        found,
        inputs=_inputs(job, land),
        parameters=_parameters(job),
        notes=land.notes,
        problems=land.problems,
    )
    tables = plan_tables(found, units=job.units)
    with ExitStack() as stack:
        if job.list_file is not None:
            part = stack.enter_context(replacing(job.list_file, overwrite=job.overwrite))
            text = list_csv(Listed.of(layers), units=job.units)
            part.write_bytes(text.encode("utf-8"))
        if job.map_file is not None:
            part = stack.enter_context(replacing(job.map_file, overwrite=job.overwrite))
            ranch_map(
                found.raster,
                {**layers, **{table.name: table for table in tables}},
                path=part,
                title=f"{_name(job)}: where to build",
                source_line=_source_line(job, found),
                units=job.units,
            )
        write_geopackage(
            job.out,
            list(layers.values()),
            tables=[*tables, info],
            relief=relief_picture(found.raster, layers),
            overwrite=job.overwrite,
            units=job.units,
        )


def _source_line(job: Job, found: Screening) -> str:
    """Say on the map which raster, which cell size and which date."""
    from terrain.values.reader_units import exactly

    size = exactly(found.raster.grid.cell_m, "m", units=job.units)
    raster = Path(job.dem[0]).name + (f" and {len(job.dem) - 1} more" if len(job.dem) > 1 else "")
    date = job.date or datetime.datetime.now()
    return f"Elevation: {raster}, cells of {size}. Drawn {date.day} {date:%B %Y}."


def _tell(job: Job, land: Land, found: Screening, layers: Mapping[str, Layer], talk: Talk) -> None:
    """Print the result on stdout, remarks on stderr."""
    import sys

    from cli.plan.list_files import Listed, list_json
    from cli.plan.plan_layers import versions
    from cli.plan.ranked_list import ListText, print_ranked_list
    from cli.plan.unit_sentences import all_in_units

    summary, *_ = all_in_units([found.summary], job.units)
    cautions = all_in_units(found.cautions, job.units)
    work = all_in_units(found.work, job.units)
    of_land = all_in_units((*land.problems, *land.notes), job.units)
    of_run = all_in_units(found.notes, job.units)
    for note in (*of_land, *job.structures.notes()):
        talk.say(f"Note: {note}")
    for note in of_run:
        talk.detail(f"Note: {note}")
    found_list = Listed.of(layers)
    files = [f for f in (job.out, job.list_file, job.map_file) if f is not None]
    if job.as_json:
        print(
            list_json(
                found_list,
                units=job.units,
                summary=summary,
                work=list(work),
                cautions=list(cautions),
                notes=[*of_land, *of_run],
                facts={str(k): str(v) for k, v in found.facts.items()},
                files={"plan": job.out, "list": job.list_file, "map": job.map_file},
                version=versions()["gullywalk"],
            ),
            end="",
        )
        return
    print_ranked_list(
        found_list,
        ListText(summary, work, cautions, files),
        stream=sys.stdout,
        units=job.units,
        return_period_years=SHOWN_RETURN_PERIOD_YR,
        most=job.top,
    )
