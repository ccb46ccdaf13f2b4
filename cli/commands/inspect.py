"""``gullywalk inspect``: what a raster is and can show, what a run needs, what may go wrong."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import click

from cli.options import (
    SectionCommand,
    boundary_options,
    dem_argument,
    dem_options,
    json_option,
    talk_options,
    units_option,
)
from cli.plan.fields import ACRE_M2, FOOT_M, Units, check_units
from cli.plan.ranked_list import significant
from cli.progress_bar import WIDTH, Talk

#: A whole screening, s for a million cells, and what every run takes besides, s. Measured on two
#: busy cores with compiled kernels (see tests/benchmarks/RESULTS.md); many sites take longer.
RUN_S_PER_MILLION_CELLS, RUN_S_AT_LEAST = 0.6, 3.0
#: Inspecting reads an overview of this many cells: enough for the extremes of the ground.
OVERVIEW_CELLS = 1_000_000


@dataclass(frozen=True, slots=True)
class Report:
    """What `inspect` found, as plain data; all sizes SI."""

    files: tuple[dict[str, Any], ...]
    rows: int
    cols: int
    cell_width_m: float
    cell_height_m: float
    crs: str
    lon: float | None
    lat: float | None
    vertical_unit: str
    low_m: float
    high_m: float
    known_share: float
    area_ha: float
    ranch_area_ha: float | None
    memory_need_bytes: int
    memory_free_bytes: int
    memory_fits: bool
    run_s: float
    can_show: tuple[str, ...]
    cannot_show: tuple[str, ...]
    notes: tuple[str, ...]
    problems: tuple[str, ...]

    @property
    def works(self) -> bool:
        """Whether a run could work."""
        return self.memory_fits

    def document(self) -> dict[str, Any]:
        """Everything, for JSON."""
        return {name: getattr(self, name) for name in self.__slots__} | {"works": self.works}


def _length(metres: float, units: Units, digits: int = 2) -> str:
    if units == "us":
        return f"{significant(metres / FOOT_M, digits)} ft"
    return f"{significant(metres, digits)} m"


def what_it_shows(cell_m: float, *, units: Units = "si") -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Say what a cell size can and cannot show.

    Parameters
    ----------
    cell_m
        Cell size, m.
    units
        Units of the sentences.

    Returns
    -------
    can, cannot
        Plain sentences. Three to five cells across are needed to measure a width and two to see
        it (common practice, no published source).
    """
    from siting.channels.headcuts import HeadcutSettings
    from terrain.reading.survey import CELLS_TO_MEASURE, COARSE_CELL_M

    low, high = (_length(n * cell_m, units) for n in CELLS_TO_MEASURE)
    can = ["Drainage areas, channel lines and the slopes of valleys."]
    cannot = ["What lies under water or thick brush, what the ground is made of, and what grows."]
    if cell_m > COARSE_CELL_M:
        cannot += [
            "The width and depth of channels: they come from a published regional curve.",
            f"Headcuts: none are looked for. A raster of {_length(1.0, units)} cells shows them.",
        ]
        return tuple(can), tuple(cannot)
    can.append(
        f"The width of channels from about {low} to {high} up; from {_length(2 * cell_m, units)} "
        "they are seen. Narrower ones get their width from a published regional curve."
    )
    if cell_m <= 1.5:
        least = _length(HeadcutSettings().least_height_m, units)
        can.append(f"Headcuts: drops of {least} and up, surer the higher they are.")
    else:
        can.append("Headcuts that are high and wide; cells of this size smooth low ones away.")
        cannot.append("Headcuts narrower than about two cells, or much lower than one is wide.")
    return tuple(can), tuple(cannot)


def look(
    paths: Sequence[str],
    *,
    crs: str | None,
    vertical_unit: str | None,
    boundary_file: str | None,
    boundary_layer: str | None,
    units: Units,
    talk: Talk,
) -> Report:
    """Survey the files, read an overview, and put the findings together."""
    import numpy as np

    from cli.given.land import WHOLE_UP_TO_CELLS
    from terrain.reading.dem import read_dem
    from terrain.reading.survey import ReadOptions, survey_dem
    from terrain.values.memory import memory_need
    from terrain.vectors.boundary import read_boundary

    options = ReadOptions(crs=crs, vertical_unit=vertical_unit)
    survey = survey_dem(paths, options)
    grid = survey.grid
    boundary = None
    if boundary_file is not None and grid.crs is not None:
        boundary = read_boundary(boundary_file, grid.crs, layer=boundary_layer, grid=grid)
    with talk.progress() as progress:
        reading = read_dem(paths, options=options, max_cells=OVERVIEW_CELLS, progress=progress)
    raster = reading.raster
    heights = raster.elevation_m[raster.valid]
    need = memory_need(grid.size)
    can, cannot = what_it_shows(grid.cell_m, units=units)
    problems = list(survey.problems)
    if not need.fits:
        helps = "use a coarser DEM, or only the part around the ranch with --boundary"
        problems.append(f"{need.sentence}, so a run would be refused: {helps}.")
    if boundary is not None and grid.size > WHOLE_UP_TO_CELLS:
        problems.append(
            "With the boundary only the part that drains into the ranch is read: memory and time "
            "are then less than said here."
        )
    known = float(np.mean(raster.valid))
    of_boundary = boundary.notes if boundary is not None else ()
    overview = [n for n in reading.notes if not n.startswith("An overview")]
    return Report(
        files=tuple(
            {
                "name": f.name,
                "format": f.driver,
                "size_bytes": f.size_bytes,
                "type": f.dtype,
                "rows": f.rows,
                "cols": f.cols,
                "nodata": None if f.nodata is None or np.isnan(f.nodata) else f.nodata,
                "sha256": source.sha256,
            }
            for f, source in zip(survey.files, reading.sources, strict=True)
        ),
        rows=grid.rows,
        cols=grid.cols,
        cell_width_m=grid.cell_width_m,
        cell_height_m=grid.cell_height_m,
        crs=_crs_words(grid.crs),
        lon=None if survey.place is None else survey.place[0],
        lat=None if survey.place is None else survey.place[1],
        vertical_unit=survey.vertical_unit,
        low_m=float(heights.min()),
        high_m=float(heights.max()),
        known_share=known,
        area_ha=known * grid.size * grid.cell_area_m2 / 1e4,
        ranch_area_ha=None if boundary is None else boundary.area_ha,
        memory_need_bytes=need.need_bytes,
        memory_free_bytes=need.free_bytes,
        memory_fits=need.fits,
        run_s=RUN_S_AT_LEAST + RUN_S_PER_MILLION_CELLS * grid.size / 1e6,
        can_show=can,
        cannot_show=cannot,
        notes=(*overview, *of_boundary),
        problems=tuple(problems),
    )


def _crs_words(crs: Any) -> str:
    from terrain.reading.crs import short_name

    return "none" if crs is None else short_name(crs)


def report_text(report: Report, units: Units) -> str:
    """Write the findings as a page of plain text, 100 columns."""
    from terrain.values.memory import size_text
    from terrain.values.units import UNIT_WORDS

    def area(hectares: float) -> str:
        if units == "us":
            return f"{significant(hectares * 1e4 / ACRE_M2, 3)} acres"
        return f"{significant(hectares, 3)} ha"

    square = abs(report.cell_width_m - report.cell_height_m) < 1e-3 * report.cell_width_m
    unit, metres = ("ft", FOOT_M) if units == "us" else ("m", 1.0)
    cell = f"{report.cell_width_m / metres:.3g} {unit}"
    if not square:
        cell += f" x {report.cell_height_m / metres:.3g} {unit}"
    first = report.files[0]
    name = first["name"] if len(report.files) == 1 else f"{len(report.files)} tiles"
    nodata = "none declared" if first["nodata"] is None else f"{first['nodata']:g}"
    place = "not known"
    if report.lon is not None and report.lat is not None:
        place = f"longitude {report.lon:.4f}, latitude {report.lat:.4f} (middle)"
    rows = [
        ("raster", f"{name}, {first['format']}, {first['type']}"),
        (
            "size",
            f"{report.rows:,} x {report.cols:,} cells of {cell}; {area(report.area_ha)} known",
        ),
        ("coordinates", report.crs),
        ("where", place),
        (
            "heights",
            f"{report.low_m / metres:.1f} to {report.high_m / metres:.1f} {unit}; in the file "
            f"{UNIT_WORDS[report.vertical_unit]}",
        ),
        ("no ground", f"{significant(100 * (1 - report.known_share))} % of cells ({nodata})"),
        (
            "memory",
            f"a run needs about {size_text(report.memory_need_bytes)}; "
            f"{size_text(report.memory_free_bytes)} is free",
        ),
        ("time", f"a run takes about {_duration(report.run_s)} on two cores"),
    ]
    if report.ranch_area_ha is not None:
        rows.insert(4, ("ranch", area(report.ranch_area_ha)))
    lines = [f"{label:<12} {text}" for label, text in rows]
    for heading, texts in (
        ("It can show", report.can_show),
        ("It cannot show", report.cannot_show),
        ("What is done with it", report.notes),
        ("What may go wrong", report.problems),
    ):
        if texts:
            lines += ["", heading]
            for text in texts:
                lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    verdict = "A run can work." if report.works else "A run cannot work as it stands."
    return "\n".join([*lines, "", verdict]) + "\n"


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{significant(seconds)} s"
    if seconds < 5400:
        return f"{significant(seconds / 60)} minutes"
    return f"{significant(seconds / 3600)} hours"


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
    talk = ctx.ensure_object(Talk)
    report = look(
        dem,
        crs=crs,
        vertical_unit=vertical_unit,
        boundary_file=boundary,
        boundary_layer=boundary_layer,
        units=check_units(units),
        talk=talk,
    )
    if as_json:
        print(json.dumps(report.document(), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        print(report_text(report, check_units(units)), end="")
    if not report.works:
        ctx.exit(1)
