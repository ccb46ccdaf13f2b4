"""``gullywalk step``: run one declared processing step alone.

Options, checks and help of every step are made from its declaration.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping
from typing import Any

import click

from cli.options import (
    Checked,
    SectionCommand,
    SectionOption,
    check_distinct,
    dem_argument,
    dem_options,
    overwrite_option,
    talk_options,
    tell_in,
    units_option,
)
from cli.progress_bar import Talk, say_if_cold
from siting.steps.step import KIND_WORDS, Output, Parameter, Step, StepData, all_steps, run_step

_FILE_INPUTS = {
    "points": ("--points", "Points in any vector file."),
    "boundary": ("--boundary", "Ranch boundary: any vector file with polygons."),
    "rain": ("--rain", "Rainfall table: a NOAA Atlas 14 point file (CSV), or a small table."),
}
_METAVARS = {"m": "METRES", "ha": "HECTARES"}


class StepCommands(click.Group):
    """One command for each declared step, this package's own and those of others."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all steps that can be used."""
        return list(all_steps().names)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Make the command of one step; a broken one says by name what is wrong with it."""
        steps = all_steps()
        if cmd_name in {broken.name for broken in steps.broken} | set(steps.names):
            return command_of(steps[cmd_name])
        return None

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Name the steps that other packages brought and that cannot be used."""
        for text in all_steps().warnings():
            formatter.write_paragraph()
            formatter.write_text(text)
        super().format_epilog(ctx, formatter)


@click.command(
    cls=StepCommands,
    short_help="Run one processing step alone.",
    epilog="gullywalk step NAME --help says what a step takes and gives.",
)
def step() -> None:
    """Run one processing step alone and write what it gives.

    Rasters are written as cloud-optimised GeoTIFF, layers as GeoPackage, tables as CSV.
    """


def flag_of(parameter: Parameter) -> str:
    """Option of a parameter on the command line."""
    return "--" + parameter.name.replace("_", "-")


def out_flag(declared: Step, output: Output) -> str:
    """Option that names the file of an output; the first output has the plain one."""
    return "--out" if output is declared.outputs[0] else f"--out-{output.name}"


def command_of(declared: Step) -> click.Command:
    """Make the command of a step from its declaration."""

    @click.pass_context
    def run(ctx: click.Context, /, **given: Any) -> None:
        tell_in(ctx, given["units"])
        _run(declared, ctx.ensure_object(Talk), given)

    for decorate in (talk_options, overwrite_option, units_option, dem_options, dem_argument):
        run = decorate(run)
    parameters = [_option_of(parameter) for parameter in declared.parameters]
    inputs = [
        SectionOption(
            [_FILE_INPUTS[i.name][0]],
            required=i.required,
            metavar="FILE",
            help=i.meaning + ".",
            section="Land",
        )
        for i in declared.inputs
        if i.name in _FILE_INPUTS
    ]
    outputs = [
        SectionOption(
            [out_flag(declared, output), f"out_{output.name}"],
            required=output is declared.outputs[0],
            metavar=f"FILE{output.ending}",
            help=output.meaning + (f", {output.unit}." if output.unit else "."),
            section="Output",
        )
        for output in declared.outputs
    ]
    shared: list[click.Parameter] = list(reversed(run.__dict__.pop("__click_params__")))
    return SectionCommand(
        declared.name,
        callback=run,
        params=[*shared[:1], *outputs, *inputs, *parameters, *shared[1:]],
        help=f"{declared.title}.\n\n{declared.meaning}",
        short_help=declared.title + ".",
    )


def _option_of(parameter: Parameter) -> SectionOption:
    """Make the option of a parameter; the declaration checks its value."""
    help_text = parameter.meaning
    if parameter.range_words and parameter.kind != "choice":
        help_text += f"; {parameter.range_words}"
    if parameter.unit:
        help_text += f" ({parameter.unit})"
    if parameter.default is None and parameter.without:
        help_text += f". Without it {parameter.without}"
    section = "Settings"
    flag = flag_of(parameter)
    if parameter.kind == "switch":
        names = [f"{flag}/--no-{flag[2:]}", parameter.name]
        return SectionOption(
            names, default=parameter.default, show_default=True, help=help_text, section=section
        )

    def read(text: str) -> Any:
        if parameter.kind == "number":
            return parameter.check(float(text))
        return parameter.check(int(text) if parameter.kind == "whole" else text)

    return SectionOption(
        [flag, parameter.name],
        type=click.Choice(parameter.choices)
        if parameter.kind == "choice"
        else Checked(KIND_WORDS[parameter.kind], read),
        default=parameter.default,
        show_default=parameter.default is not None,
        metavar=None if parameter.kind == "choice" else _METAVARS.get(parameter.unit, "VALUE"),
        help=help_text + ".",
        section=section,
    )


def _run(declared: Step, talk: Talk, given: Mapping[str, Any]) -> None:
    """Check the files to write, read what the step takes, run it, and write what it gives."""
    from cli.given.land import read_land
    from siting.floods.rainfall_reading import read_rainfall
    from terrain.reading.survey import ReadOptions

    wanted = {o.name: given[f"out_{o.name}"] for o in declared.outputs}
    files: list[tuple[str, str | None]] = [("DEM", path) for path in given["dem"]]
    files += [(_FILE_INPUTS[i.name][0], given.get(i.name)) for i in declared.inputs[1:]]
    files += [(out_flag(declared, o), wanted[o.name]) for o in declared.outputs]
    check_distinct(files)
    for output in declared.outputs:
        if wanted[output.name] is not None:
            _check_target(output, wanted[output.name], given["overwrite"])
    say_if_cold(talk)
    with talk.progress() as progress:
        land = read_land(
            given["dem"],
            ReadOptions(crs=given["crs"], vertical_unit=given["vertical_unit"]),
            boundary_file=given.get("boundary"),
            whole=True,
            talk=talk,
            progress=progress,
        )
        for note in (*land.notes, *land.problems):
            talk.detail(note)
        points = given.get("points")
        rain = given.get("rain")
        data = StepData(
            land.reading.raster,
            points_xy=None if points is None else _points(points, land.reading.raster.grid.crs),
            boundary=None if land.boundary is None else land.boundary.polygon,
            rainfall=None if rain is None else read_rainfall(rain),
        )
        values = {p.name: given[p.name] for p in declared.parameters}
        results = run_step(declared, data, values, progress=progress)
        progress("writing", 1.0)
        for output in declared.outputs:
            path = wanted[output.name]
            if path is not None:
                _write(declared, output, path, results[output.name], data, given)
    for path in wanted.values():
        if path is not None:
            print(f"Wrote {path}")


def _points(path: str, crs: Any) -> Any:
    from cli.given.points import read_points

    return read_points(path, crs)


def _check_target(output: Output, path: str, overwrite: bool) -> None:
    from cli.plan.geopackage import check_target
    from cli.plan.safe_files import check_ending, check_file_target

    check_ending(path, output.ending)
    if output.kind == "layer":
        check_target(path, overwrite)
    else:
        check_file_target(path, overwrite=overwrite)


def _write(
    declared: Step,
    output: Output,
    path: str,
    result: Any,
    data: StepData,
    given: Mapping[str, Any],
) -> None:
    from cli.plan.fields import check_units
    from cli.plan.geopackage import write_geopackage
    from cli.plan.plan_layers import layer_of
    from cli.plan.safe_files import write_text
    from cli.plan.unit_sentences import worded
    from terrain.reading.writing import write_cog

    overwrite = given["overwrite"]
    if output.kind == "raster":
        write_cog(
            os.path.realpath(path),
            data.raster.grid,
            result,
            nodata=output.nodata,
            overwrite=overwrite,
            description=output.name,
            units=output.unit,
            tags={"step": declared.name, "meaning": output.meaning},
        )
    elif output.kind == "layer":
        units = check_units(given["units"])
        layer = worded(layer_of(output.layer, result, data.raster.grid.crs), units)
        write_geopackage(path, [layer], overwrite=overwrite, units=units)
    else:
        write_text(path, _csv_of(output, result), overwrite=overwrite)


def _csv_of(output: Output, result: Mapping[str, Any]) -> str:
    """Write a table as CSV; what is not known stays empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.name for column in output.columns])
    columns = [result[column.name] for column in output.columns]
    for row in zip(*columns, strict=True):
        writer.writerow(
            [_cell(v, column.decimals) for v, column in zip(row, output.columns, strict=True)]
        )
    return out.getvalue()


def _cell(value: Any, decimals: int) -> str:
    if isinstance(value, str):
        return value
    return "" if value != value else f"{value:.{decimals}f}"
