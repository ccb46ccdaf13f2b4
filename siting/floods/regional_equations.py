"""Regional equations as data: what an equation is, reading a file of them, and computing one.

The built-in file is ``usgs_regional.toml``; its heading explains the form. A user's own file has
the same form and is checked the same way.
"""

from __future__ import annotations

import difflib
import functools
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

import numpy as np

from siting.floods.data_files import data_file
from siting.floods.flood_errors import RegionalEquationError
from terrain.values.arrays import BoolArray, FloatArray

# Variables an equation may use, in the unit of the printed equations.
VARIABLES: Final[Mapping[str, str]] = {
    "drainage_area_mi2": "drainage area, square miles",
    "basin_slope": "mean slope of the basin, rise over run",
    "basin_slope_pct": "mean slope of the basin, per cent",
    "mean_elevation_ft": "mean elevation of the basin, feet",
    "mean_annual_precipitation_in": "mean annual precipitation, inches",
    "outlet_longitude_deg_w": "longitude of the outlet, degrees west (positive)",
    "outlet_latitude_deg": "latitude of the outlet, degrees",
    "soils_index": "mean soils hydrologic index of the basin",
    "percent_above_7500_ft": "share of the basin above 7,500 feet, per cent",
}
#: The variable that every report gives the range of.
AREA: Final = "drainage_area_mi2"
_FORMS: Final = ("power", "exp10", "base")


@dataclass(frozen=True, slots=True)
class Term:
    """One factor of an equation: form, variable, and how it is scaled before use.

    ``power`` is x^e, ``exp10`` is 10^(e x), ``base`` is e^x, with x = scale * variable + offset.
    """

    variable: str
    form: str = "power"
    scale: float = 1.0
    offset: float = 0.0
    lowest: float = -np.inf
    highest: float = np.inf


@dataclass(frozen=True, slots=True)
class Equation:
    """Equation of one return period; `error_log10` is NaN where no standard error is given."""

    years: float
    coefficient: float
    exponents: tuple[float, ...]
    error_log10: float = float("nan")


@dataclass(frozen=True, slots=True)
class Region:
    """The equations of one region, with their source.

    `newer` names a newer edition whose coefficients could not be had; empty where none is known.
    """

    id: str
    title: str
    report: str
    table: str
    terms: tuple[Term, ...]
    equations: tuple[Equation, ...]
    newer: str = ""

    @property
    def area_range_mi2(self) -> tuple[float, float]:
        """Smallest and largest drainage area that the equations were fitted on; 0 to infinity."""
        areas = [t for t in self.terms if t.variable == AREA]
        return (
            max((t.lowest for t in areas if np.isfinite(t.lowest)), default=0.0),
            min((t.highest for t in areas), default=np.inf),
        )

    @property
    def return_periods_yr(self) -> tuple[float, ...]:
        """Return periods that have an equation."""
        return tuple(e.years for e in self.equations)

    def equation(self, return_period_yr: float) -> Equation | None:
        """Return the equation of a return period, or None: nothing is interpolated between them."""
        return next((e for e in self.equations if e.years == return_period_yr), None)

    def used_terms(self, equation: Equation) -> tuple[Term, ...]:
        """Return the terms that an equation really has."""
        return tuple(
            t for t, e in zip(self.terms, equation.exponents, strict=True) if not _absent(t, e)
        )

    def flow_cfs(self, equation: Equation, variables: Mapping[str, FloatArray]) -> FloatArray:
        """Flow in ft3/s for the variables of each site; NaN where one is not known."""
        # A sum of logarithms: the factors of some equations are huge and tiny by themselves.
        log_flow: FloatArray = np.asarray(np.log10(equation.coefficient))
        for term, exponent in zip(self.terms, equation.exponents, strict=True):
            if _absent(term, exponent):
                continue
            x = term.scale * variables[term.variable] + term.offset
            if term.form == "power":
                positive = np.where(x > 0, x, np.nan)
                log_flow = log_flow + exponent * np.log10(positive)
            elif term.form == "exp10":
                log_flow = log_flow + exponent * x
            else:
                log_flow = log_flow + x * np.log10(exponent)
        return np.asarray(10.0**log_flow)

    def outside_range(
        self, equation: Equation, variables: Mapping[str, FloatArray]
    ) -> dict[str, BoolArray]:
        """Where each variable lies outside the range of the gages, by variable."""
        return {
            t.variable: (variables[t.variable] < t.lowest) | (variables[t.variable] > t.highest)
            for t in self.used_terms(equation)
        }


@dataclass(frozen=True, slots=True)
class EquationBook:
    """A set of regions, by id."""

    regions: Mapping[str, Region]
    name: str

    def region(self, region_id: str) -> Region:
        """Return a region.

        Raises
        ------
        RegionalEquationError
            When there is none; the message lists those there are.
        """
        if region_id not in self.regions:
            raise RegionalEquationError(
                f"region '{region_id}' is not in {self.name}{_guess(region_id, self.regions)}",
                expected=f"one of {', '.join(self.regions)}",
                do="give a file of equations that holds it",
            )
        return self.regions[region_id]


@functools.cache
def built_in_equations() -> EquationBook:
    """Return the equations that come with the package."""
    return parse_equations(data_file("usgs_regional.toml"), name="the built-in equations")


def read_equations(path: str | Path) -> EquationBook:
    """Read a user's own file of equations (TOML, in the form of ``usgs_regional.toml``).

    Raises
    ------
    RegionalEquationError
        When the file cannot be read, or names a variable, form or key that does not exist.
    """
    path = Path(path)
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise RegionalEquationError(
            f"{path.name} cannot be read as TOML ({error})",
            expected="a file of regional equations",
        ) from error
    return parse_equations(table, name=path.name)


def parse_equations(table: Mapping[str, Any], *, name: str) -> EquationBook:
    """Check the content of an equation file and build its regions.

    Raises
    ------
    RegionalEquationError
        Naming the region and the key, variable or number at fault.
    """
    _known_keys(table, ("region",), where=name)
    rows = table.get("region")
    if not isinstance(rows, list) or not rows:
        raise RegionalEquationError(f"{name} holds no region", expected="[[region]] tables")
    regions: dict[str, Region] = {}
    for row in rows:
        region = _region(row, where=f"{name}, region '{row.get('id', '?')}'")
        if region.id in regions:
            raise RegionalEquationError(
                f"{name} holds region '{region.id}' twice", expected="each region once"
            )
        regions[region.id] = region
    return EquationBook(regions, name)


def _region(row: Mapping[str, Any], *, where: str) -> Region:
    names = [f.name for f in fields(Region)]
    _known_keys(row, names, where=where, needed=[n for n in names if n != "newer"])
    terms = tuple(_term(t, where=where) for t in row["terms"])
    equations = tuple(_equation(e, len(terms), where=where) for e in row["equations"])
    if not terms or not equations:
        raise RegionalEquationError(f"{where} is empty", expected="terms and equations")
    years = [e.years for e in equations]
    if len(set(years)) != len(years):
        raise RegionalEquationError(f"{where} has two equations for one return period")
    text = {k: str(row[k]) for k in ("id", "title", "report", "table", "newer") if k in row}
    region = Region(**text, terms=terms, equations=equations)
    for equation in equations:
        for term, exponent in zip(terms, equation.exponents, strict=True):
            if term.form == "base" and exponent <= 0:
                raise RegionalEquationError(
                    f"{where}: base of {exponent:g}", expected="a base above zero"
                )
    return region


def _term(row: Mapping[str, Any], *, where: str) -> Term:
    _known_keys(row, [f.name for f in fields(Term)], where=f"{where}, a term")
    variable = row.get("variable")
    if variable not in VARIABLES:
        raise RegionalEquationError(
            f"{where}: variable '{variable}' is not known{_guess(str(variable), VARIABLES)}",
            expected=f"one of {', '.join(VARIABLES)}",
        )
    form = row.get("form", "power")
    if form not in _FORMS:
        raise RegionalEquationError(
            f"{where}: form '{form}'", expected=f"one of {', '.join(_FORMS)}"
        )
    numbers = {k: _number(row[k], where, k) for k in row if k not in ("variable", "form")}
    return Term(variable=str(variable), form=form, **numbers)


def _equation(row: Mapping[str, Any], term_count: int, *, where: str) -> Equation:
    keys = ("years", "coefficient", "coefficient_log10", "exponents", "error_log10")
    _known_keys(row, keys, where=f"{where}, an equation")
    if "years" not in row or "exponents" not in row:
        raise RegionalEquationError(f"{where}: an equation lacks years or exponents")
    years = _number(row["years"], where, "years")
    where = f"{where}, {years:g} years"
    if ("coefficient" in row) == ("coefficient_log10" in row):
        raise RegionalEquationError(f"{where}: give coefficient or coefficient_log10, not both")
    coefficient = (
        _number(row["coefficient"], where, "coefficient")
        if "coefficient" in row
        else 10.0 ** _number(row["coefficient_log10"], where, "coefficient_log10")
    )
    exponents = tuple(_number(e, where, "an exponent") for e in row["exponents"])
    if len(exponents) != term_count:
        raise RegionalEquationError(
            f"{where}: {len(exponents)} exponents", expected=f"{term_count}, one for each term"
        )
    if years < 1 or coefficient <= 0:
        raise RegionalEquationError(
            f"{where}: coefficient {coefficient:g}",
            expected="a return period of a year or more and a coefficient above zero",
        )
    error = _number(row["error_log10"], where, "error_log10") if "error_log10" in row else np.nan
    return Equation(years, coefficient, exponents, error)


def _absent(term: Term, exponent: float) -> bool:
    return exponent == (1.0 if term.form == "base" else 0.0)


def _known_keys(
    row: Mapping[str, Any], known: Iterable[str], *, where: str, needed: Iterable[str] = ()
) -> None:
    names = list(known)
    for key in row:
        if key not in names:
            raise RegionalEquationError(
                f"{where}: '{key}' is not known{_guess(key, names)}",
                expected=f"one of {', '.join(names)}",
            )
    lacking = [n for n in needed if n not in row]
    if lacking:
        raise RegionalEquationError(f"{where} lacks {', '.join(lacking)}")


def _guess(word: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(word, list(known), n=1)
    return f" (did you mean {close[0]}?)" if close else ""


def _number(value: object, where: str, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
        raise RegionalEquationError(f"{where}: {what} is '{value}'", expected="a number")
    return float(value)
