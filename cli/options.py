"""Options that several commands share, and the kinds of value they take."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click

from cli.progress_bar import Talk
from cli.remedies import error_text
from terrain.values.errors import GullywalkError
from terrain.values.reader_units import Units, told_in

F = TypeVar("F", bound=Callable[..., Any])

#: Hectares in one unit of area.
_HECTARES_PER = {
    "": 1.0,
    "ha": 1.0,
    "ac": 0.40468564224,
    "acre": 0.40468564224,
    "acres": 0.40468564224,
    "m2": 1e-4,
    "km2": 100.0,
}
_AREA = re.compile(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*([a-z0-9]*)\s*", re.IGNORECASE)
_ORDER = (
    "Land",
    "Walk",
    "Settings",
    "Channels and flow",
    "Rain and floods",
    "Sites",
    "Structures",
    "Output",
    "Other",
)


class SectionOption(click.Option):
    """An option that stands under a heading of the help."""

    def __init__(self, *args: Any, section: str = "Other", **attributes: Any) -> None:
        super().__init__(*args, **attributes)
        self.section = section


class SectionCommand(click.Command):
    """A command whose help lists its options under headings."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, section by section."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            if isinstance(parameter, click.Argument):
                continue
            record = parameter.get_help_record(ctx)
            if record is not None:
                name = getattr(parameter, "section", _ORDER[-1])
                sections.setdefault(name, []).append(record)
        known = [name for name in _ORDER if name in sections]
        for name in (*known, *(n for n in sections if n not in _ORDER)):
            with formatter.section(name):
                formatter.write_dl(sections[name])


def option(*names: str, section: str = "Other", **attributes: Any) -> Callable[[F], F]:
    """Declare an option under a heading of the help."""
    return click.option(*names, cls=SectionOption, section=section, **attributes)


class Checked(click.ParamType):  # type: ignore[type-arg]
    """A value that the library reads and checks itself.

    Parameters
    ----------
    name
        What the value is, in the help.
    read
        Turns text into the value; what it raises becomes a usage error.
    """

    def __init__(self, name: str, read: Callable[[str], Any]) -> None:
        self.name = name
        self._read = read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the value, or fail with the library's own words."""
        if not isinstance(value, str):
            return value
        try:
            return self._read(value)
        except GullywalkError as error:
            raise click.BadParameter(error_text(error), ctx, param) from error
        except ValueError:
            self.fail(f"'{value}' is not {self.name.lower()}.", param, ctx)


def read_channel_area(text: str) -> float | str:
    """Read ``0.5ha``, ``1.2ac``, a bare number of hectares, or ``auto``.

    Returns
    -------
    float or str
        Hectares, or ``auto``.
    """
    if text.strip().lower() == "auto":
        return "auto"
    match = _AREA.fullmatch(text)
    unit = match.group(2).lower() if match else ""
    if match is None or unit not in _HECTARES_PER or not float(match.group(1)) > 0:
        raise click.BadParameter(
            f"'{text}' is not an area; expected one such as 0.5ha or 1.2ac, or auto."
        )
    return float(match.group(1)) * _HECTARES_PER[unit]


def _read_curve_number(text: str) -> float:
    from siting.floods.runoff import check_curve_number

    number = float(text)
    if number != number:
        raise ValueError
    check_curve_number(number)
    return number


def _read_years(text: str) -> float:
    from siting.works.work import LONGEST_HORIZON_YR

    years = float(text)
    if not 1.0 <= years <= LONGEST_HORIZON_YR:
        raise click.BadParameter(
            f"{text} is out of range; expected 1 to {LONGEST_HORIZON_YR:g} years."
        )
    return years


def _read_rain_24h(text: str) -> Any:
    from siting.floods.rainfall_reading import parse_rain_24h

    return parse_rain_24h(text)


def _read_crs(text: str) -> str:
    from terrain.reading.crs import parse_crs

    parse_crs(text, what="--crs")
    return text


def _read_engine(text: str) -> str:
    from terrain.flow.engines import flow_engines

    flow_engines()[text]
    return text


def _set_verbosity(ctx: click.Context, param: click.Parameter, value: Any) -> None:
    talk = ctx.ensure_object(Talk)
    if param.name == "quiet" and value:
        talk.verbosity = -1
    elif param.name == "verbose" and value:
        talk.verbosity = int(value)


def together(*decorators: Callable[[F], F]) -> Callable[[F], F]:
    """Make one decorator of several, in the order the help lists them."""

    def apply(function: F) -> F:
        for decorate in reversed(decorators):
            function = decorate(function)
        return function

    return apply


def dem_argument(function: F) -> F:
    """Take one elevation raster, or the tiles of one."""
    return click.argument("dem", nargs=-1, required=True, metavar="DEM...")(function)


dem_options = together(
    option(
        "--vertical-unit",
        type=click.Choice(["m", "ft", "us-ft"]),
        section="Land",
        help="Unit of the raster's heights, when the file does not say it or is wrong.",
    ),
    option(
        "--crs",
        type=Checked("a coordinate system", _read_crs),
        metavar="TEXT",
        section="Land",
        help="Coordinate system to use instead of the raster's own, such as EPSG:26913.",
    ),
)


def dem_of_plan_option(purpose: str) -> Callable[[F], F]:
    """Take the raster that a plan was made from, or its tiles, once more."""
    return option(
        "--dem",
        multiple=True,
        metavar="FILE",
        section="Land",
        help=f"Elevation raster of the plan, {purpose}; several times for tiles.",
    )


def first_sites_option(meaning: str, *, section: str) -> Callable[[F], F]:
    """Take only the first so many sites of the ranked list."""
    return option("--top", type=click.IntRange(min=1), metavar="N", section=section, help=meaning)


boundary_options = together(
    option(
        "--boundary",
        metavar="FILE",
        section="Land",
        help="Ranch boundary: any vector file with polygons. Without it, the whole raster.",
    ),
    option(
        "--boundary-layer",
        metavar="NAME",
        section="Land",
        help="Layer of the boundary file, where it has several.",
    ),
)

flow_options = together(
    option(
        "--channel-area",
        type=Checked("an area", read_channel_area),
        metavar="AREA",
        section="Channels and flow",
        help="Land that must drain through a place before it counts as a channel: 0.5ha, 1.2ac "
        "(a bare number is hectares), or auto to pick it from the ground. Without it 0.3ha, more "
        "on coarse rasters.",
    ),
    option(
        "--engine",
        type=Checked("a flow engine", _read_engine),
        metavar="NAME",
        default="native",
        show_default=True,
        section="Channels and flow",
        help="Flow engine: native, or pysheds for comparison.",
    ),
    option(
        "--carve-depth",
        type=click.FloatRange(min=0),
        metavar="METRES",
        default=5.0,
        show_default=True,
        section="Channels and flow",
        help="Deepest cut through a false dam such as a road fill; what is deeper is filled.",
    ),
    option(
        "--carve-length",
        type=click.FloatRange(min=0),
        metavar="METRES",
        default=100.0,
        show_default=True,
        section="Channels and flow",
        help="Longest cut through a false dam; what is longer is filled.",
    ),
)

rain_options = together(
    option(
        "--rain",
        metavar="FILE",
        section="Rain and floods",
        help="Rainfall table: a NOAA Atlas 14 point file (CSV), or a small table of depths; both "
        "with their confidence bounds where they carry them.",
    ),
    option(
        "--rain-24h",
        type=Checked("24-hour rain", _read_rain_24h),
        metavar="TEXT",
        section="Rain and floods",
        help="Rain in 24 hours by return period instead of a file: 2=38mm,10=62mm.",
    ),
    option(
        "--curve-number",
        type=Checked("a number", _read_curve_number),
        metavar="NUMBER",
        section="Rain and floods",
        help="Runoff curve number of the land, 30 to 100 (TR-55; rangeland is mostly 50 to 90).",
    ),
    option(
        "--storm-type",
        type=click.Choice(["I", "IA", "II", "III"]),
        default="II",
        show_default=True,
        section="Rain and floods",
        help="How rain is spread over the day (TR-55 figure B-2); II covers most of the US "
        "interior.",
    ),
)

rule_options = together(
    option(
        "--rules",
        metavar="FILE.toml",
        section="Sites",
        help="Limits to use instead of the package's own: a file with those that change is enough.",
    ),
    option(
        "--horizon",
        type=Checked("a number of years", _read_years),
        metavar="YEARS",
        section="Sites",
        help="Years over which losses and chances are counted, 1 to 100; else works.horizon of the "
        "limits, which is 20.",
    ),
    option(
        "--rank-by",
        type=click.Choice(["cost", "crew-days", "most-saved"]),
        default="cost",
        show_default=True,
        section="Sites",
        help="Order of the works: by what is saved for the cost, for a crew's day, or in all.",
    ),
)

units_option = option(
    "--units",
    type=click.Choice(["si", "us"]),
    default="si",
    show_default=True,
    section="Output",
    help="Units of what people read: metres and hectares, or feet and acres.",
)


def tell_in(ctx: click.Context, units: Units) -> None:
    """Tell every quantity in these units, until the command has ended."""
    ctx.with_resource(told_in(units))


overwrite_option = option(
    "--overwrite", is_flag=True, section="Output", help="Replace output files that exist."
)

json_option = option(
    "--json",
    "as_json",
    is_flag=True,
    section="Output",
    help="Print the result as JSON for a machine instead of a table.",
)

talk_options = together(
    option(
        "-v",
        "--verbose",
        count=True,
        expose_value=False,
        is_eager=True,
        callback=_set_verbosity,
        section="Other",
        help="Say more; on a failure show the full traceback.",
    ),
    option(
        "-q",
        "--quiet",
        is_flag=True,
        expose_value=False,
        is_eager=True,
        callback=_set_verbosity,
        section="Other",
        help="Say nothing but the result and errors.",
    ),
)


def check_distinct(files: Sequence[tuple[str, str | None]]) -> None:
    """Refuse one file named for two purposes, so that no input is ever written over.

    Parameters
    ----------
    files
        What each file is for and its path; no path where it is not used.
    """
    from pathlib import Path

    seen: dict[Path, str] = {}
    for purpose, name in files:
        if name is None:
            continue
        path = Path(name).resolve()
        if path in seen:
            raise click.UsageError(f"{name} is given for both {seen[path]} and {purpose}.")
        seen[path] = purpose
