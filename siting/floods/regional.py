"""Peak flow by regional equations of the U.S. Geological Survey, or a user's own equations.

Equations are data (see `regional_equations`). A site may lie in several regions: each region's
equation is then used with the whole drainage area and the results are weighted by the share of the
area, as the reports ask (for example USGS WRIR 03-4107 pp. 30-33, Water-Supply Paper 2433 eq. 6).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from siting.floods.flood_errors import RegionalEquationError
from siting.floods.flood_method import (
    Flag,
    FloodEstimate,
    SiteFloodInputs,
    build_estimate,
    no_estimate,
)
from siting.floods.regional_equations import (
    AREA,
    VARIABLES,
    EquationBook,
    Region,
    built_in_equations,
)
from siting.values.us_units import HA_PER_MI2, M3S_PER_CFS, M_PER_FT, MM_PER_INCH
from siting.values.wording import between, quantity
from terrain.values.arrays import ArrayLike, FloatArray, floats

# Basin measures a caller may put in `SiteFloodInputs.basin`; drainage area and slope come by
# themselves.
BASIN_MEASURES: Final[Mapping[str, str]] = {
    "mean_elevation_m": "mean elevation of the drainage area, metres",
    "mean_annual_precipitation_mm": "mean annual precipitation, millimetres",
    "outlet_longitude_deg_w": "longitude of the site, degrees west (positive)",
    "outlet_latitude_deg": "latitude of the site, degrees",
    "soils_index": "mean soils hydrologic index (Wyoming)",
    "percent_above_7500_ft": "share of the drainage area above 7,500 feet, per cent",
}
# Shares of the regions may miss one by this much before the weighting is refused.
_SHARE_SLACK: Final = 0.01


@dataclass(frozen=True, slots=True)
class RegionalSettings:
    """What the regional equations are given for a whole ranch.

    Parameters
    ----------
    regions
        Regions and their shares of the area; empty for none.
    equations
        A user's own equations; None takes those of the package.
    basin
        Further measures of the drainage areas, by their names in `BASIN_MEASURES`.

    Raises
    ------
    RegionalEquationError
        A region that the equations do not hold, or a measure that none of them uses.
    """

    regions: Mapping[str, float] = field(default_factory=dict)
    equations: EquationBook | None = None
    basin: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in self.regions:
            self.book.region(name)
        _check_measures(self.basin)

    @property
    def book(self) -> EquationBook:
        """Equations that hold the regions."""
        return self.equations or built_in_equations()


class RegionalMethod:
    """Regional regression equations; a plug-in of ``gullywalk.flood_methods``."""

    name = "regional"
    title = "USGS regional equations"
    source = "the report and table of the region, named with each estimate"
    limits = "Rural basins whose measures lie inside the range of the gages behind the equation"
    needs = ("drainage_area_ha", "mean_slope", "basin", "regions", "equations")

    def peak_flow(self, inputs: SiteFloodInputs, return_period_yr: float) -> FloodEstimate:
        """Peak flow in m3/s, with one standard error of prediction either way where published.

        One standard error holds about two floods in three.

        Raises
        ------
        RegionalEquationError
            When a region or a basin measure is not known.
        """
        if not inputs.regions:
            return no_estimate(
                self, inputs, return_period_yr, code="no_region", why="No region was given."
            )
        book = inputs.equations or built_in_equations()
        variables = equation_variables(inputs)
        shape = inputs.drainage_area_ha.shape
        value, low, high = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        flags: list[Flag] = []
        for region_id, given in inputs.regions.items():
            region, share = book.region(region_id), floats(given)
            inside = share > 0
            flow, error = _region_flow(region, variables, return_period_yr, shape)
            value += np.where(inside, share * flow, 0.0)
            least, most = prediction_interval_m3s(share * flow, error_log10=error, t=1.0)
            low += np.where(inside, least, 0.0)
            high += np.where(inside, most, 0.0)
            flags += _region_flags(region, variables, return_period_yr, inside)
        total = sum(floats(share) for share in inputs.regions.values())
        bad_share = np.asarray(np.abs(total - 1.0) > _SHARE_SLACK)
        flags.append(
            Flag("shares", "The shares of the regions do not add up to the whole area.", bad_share)
        )
        value, low, high = (np.where(bad_share, np.nan, v) for v in (value, low, high))
        return build_estimate(
            self,
            inputs,
            return_period_yr,
            value_m3s=value,
            low_m3s=low,
            high_m3s=high,
            range_source="one standard error of prediction" if np.isfinite(low).any() else "",
            flags=flags,
        )


def equation_variables(inputs: SiteFloodInputs) -> dict[str, FloatArray]:
    """Turn the inputs of the sites into the variables of the printed equations; NaN if not known.

    Each is ``(n,)``, by its name.

    Raises
    ------
    RegionalEquationError
        For a basin measure that no equation could use, such as a misspelt one.
    """
    _check_measures(inputs.basin)
    shape = inputs.drainage_area_ha.shape

    def basin(name: str) -> FloatArray:
        return floats(inputs.basin.get(name, np.full(shape, np.nan)))

    slope = inputs.array("mean_slope")
    return {
        "drainage_area_mi2": inputs.drainage_area_ha / HA_PER_MI2,
        "basin_slope": slope,
        "basin_slope_pct": 100.0 * slope,
        "mean_elevation_ft": basin("mean_elevation_m") / M_PER_FT,
        "mean_annual_precipitation_in": basin("mean_annual_precipitation_mm") / MM_PER_INCH,
        "outlet_longitude_deg_w": basin("outlet_longitude_deg_w"),
        "outlet_latitude_deg": basin("outlet_latitude_deg"),
        "soils_index": basin("soils_index"),
        "percent_above_7500_ft": basin("percent_above_7500_ft"),
    }


def prediction_interval_m3s(
    flow_m3s: ArrayLike, *, error_log10: ArrayLike, t: float
) -> tuple[FloatArray, FloatArray]:
    """Lower and upper bound of a flow: flow x 10^(-t e) and flow x 10^(t e).

    `t` is Student's t for the probability and the degrees of freedom of the equation (USGS SIR
    2014-5211 p. 34, WRIR 03-4107 p. 19); 1 gives one standard error. Arrays broadcast.
    """
    error = t * floats(error_log10)
    return floats(flow_m3s) * 10.0**-error, floats(flow_m3s) * 10.0**error


def fitted_on(region: Region) -> str:
    """Say which drainage areas a region's equations were fitted on."""
    areas = _areas(region)
    if not areas:
        return "the areas that it was fitted on are not told"
    return f"fitted on drainage areas of {areas}"


def _areas(region: Region) -> str:
    """Range of the drainage areas of a region's gages; empty where none is told."""
    lowest, highest = (v * HA_PER_MI2 for v in region.area_range_mi2)
    least = quantity(lowest, "ha", digits=3) if lowest > 0 else ""
    most = quantity(highest, "ha", digits=3) if np.isfinite(highest) else ""
    if least and most:
        return between(lowest, highest, "ha", digits=3)
    return f"at least {least}" if least else f"at most {most}" if most else ""


def _region_flow(
    region: Region,
    variables: Mapping[str, FloatArray],
    return_period_yr: float,
    shape: tuple[int, ...],
) -> tuple[FloatArray, float]:
    """Flow in m3/s of one region's equation over the whole area, and its error in log10 units."""
    equation = region.equation(return_period_yr)
    if equation is None:
        return np.full(shape, np.nan), np.nan
    return region.flow_cfs(equation, variables) * M3S_PER_CFS, equation.error_log10


def _region_flags(
    region: Region,
    variables: Mapping[str, FloatArray],
    return_period_yr: float,
    inside: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
) -> list[Flag]:
    newer = f"; newer, but not had: {region.newer}" if region.newer else ""
    flags = [
        Flag(
            "source",
            f"{region.title}: {region.report}, {region.table}; {fitted_on(region)}{newer}.",
            inside.copy(),
            outside=False,
        )
    ]
    equation = region.equation(return_period_yr)
    if equation is None:
        given = ", ".join(f"{y:g}" for y in region.return_periods_yr)
        why = f"{region.title} has no equation for {return_period_yr:g} years (it has {given})."
        return [*flags, Flag("no_equation", why, inside.copy())]
    for variable, outside in region.outside_range(equation, variables).items():
        term = next(t for t in region.terms if t.variable == variable)
        what = VARIABLES[variable]
        beyond = (
            f"the drainage area lies outside those of the gages, {_areas(region)}"
            if variable == AREA
            else f"{what}, lies outside the {term.lowest:g} to {term.highest:g} of the gages"
        )
        flags.append(Flag("out_of_range", f"{region.title}: {beyond}.", inside & outside))
        unknown = inside & np.isnan(variables[variable])
        flags.append(Flag("input_missing", f"Not known here: {what}.", unknown))
    return flags


def _check_measures(names: Iterable[str]) -> None:
    unknown = set(names) - set(BASIN_MEASURES)
    if unknown:
        raise RegionalEquationError(
            f"basin measure '{sorted(unknown)[0]}'",
            expected=f"one of {', '.join(BASIN_MEASURES)}",
        )
