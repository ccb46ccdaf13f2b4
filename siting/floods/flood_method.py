"""What a flood method is, what it is given and what it gives back.

A method is a plug-in of the entry-point group ``gullywalk.flood_methods``: a class without
constructor arguments that follows `FloodMethod`. Everything a method may need stands in
`SiteFloodInputs`, so that one object serves every method and the table of methods side by side can
print what each of them used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np

from siting.floods.flood_errors import FloodInputError
from siting.floods.rainfall import Rainfall
from siting.floods.regional_equations import EquationBook
from siting.floods.runoff import check_curve_number
from terrain.values.arrays import ArrayLike, BoolArray, FloatArray, floats, frozen, frozen_mask

RETURN_PERIODS_YR = (2.0, 5.0, 10.0, 25.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True)
class SiteFloodInputs:
    """Everything the flood methods use, as arrays over n sites. NaN means not known.

    Parameters
    ----------
    drainage_area_ha
        Drainage area in hectares, above zero, shape (n,). Every other array broadcasts to it.
    curve_number
        Area-weighted curve number, 30 to 100.
    time_of_concentration_h
        Time of concentration in hours.
    mean_slope
        Mean land slope of the drainage area, rise over run.
    flow_path_m
        Longest flow path in metres.
    pond_fraction
        Share of the drainage area in ponds and swamps off the main flow path, 0 to 1.
    runoff_coefficient
        Coefficient C of the rational method, above 0 to 1.
    area_complete
        False where the raster's edge or a hole cuts the drainage area: every flow is then a
        minimum.
    rainfall
        Rainfall table; None when none was given.
    storm_type
        Storm type of the graphical method: I, IA, II or III.
    regions
        Region of the regional equations to its share of the drainage area (a number or an array
        over sites).
    basin
        Further basin measures of the regional equations by name, each a number or an array over
        sites: see `siting.floods.regional.BASIN_MEASURES`.
    equations
        A user's own regional equations; None for those that come with the package.

    Raises
    ------
    FloodInputError
        For an area of zero or less, a fraction outside its range, or arrays of different lengths.
    """

    drainage_area_ha: FloatArray
    curve_number: ArrayLike = np.nan
    time_of_concentration_h: ArrayLike = np.nan
    mean_slope: ArrayLike = np.nan
    flow_path_m: ArrayLike = np.nan
    pond_fraction: ArrayLike = 0.0
    runoff_coefficient: ArrayLike = np.nan
    area_complete: ArrayLike = True
    rainfall: Rainfall | None = None
    storm_type: str = "II"
    regions: Mapping[str, ArrayLike] = field(default_factory=dict)
    basin: Mapping[str, ArrayLike] = field(default_factory=dict)
    equations: EquationBook | None = None

    def __post_init__(self) -> None:
        area = np.atleast_1d(floats(self.drainage_area_ha))
        if area.ndim != 1 or not (area > 0).all():
            raise FloodInputError(
                f"a drainage area of {area[~(area > 0)].flat[0]:g} ha"
                if not (area > 0).all()
                else f"drainage areas of shape {area.shape}",
                expected="one area above zero for each site",
                do="check that the site lies on a channel of the raster",
            )
        object.__setattr__(self, "drainage_area_ha", frozen(area))
        for name in (
            "curve_number",
            "time_of_concentration_h",
            "mean_slope",
            "flow_path_m",
            "pond_fraction",
            "runoff_coefficient",
        ):
            object.__setattr__(self, name, self._over_sites(name, getattr(self, name)))
        complete = frozen_mask(np.broadcast_to(self.area_complete, area.shape))
        object.__setattr__(self, "area_complete", complete)
        for name in ("regions", "basin"):
            given = getattr(self, name)
            object.__setattr__(self, name, {k: self._over_sites(k, v) for k, v in given.items()})
        check_curve_number(self.curve_number)
        self._check_range("pond_fraction", low=0.0, high=1.0)
        self._check_range("runoff_coefficient", low=0.0, high=1.0)
        self._check_range("time_of_concentration_h", low=0.0, high=np.inf)

    def _over_sites(self, name: str, values: ArrayLike) -> FloatArray:
        try:
            return frozen(np.broadcast_to(floats(values), self.drainage_area_ha.shape))
        except ValueError as error:
            raise FloodInputError(
                f"{np.size(values)} values of {name} for {self.drainage_area_ha.size} sites",
                expected="one value, or one for each site",
            ) from error

    def _check_range(self, name: str, *, low: float, high: float) -> None:
        values = floats(getattr(self, name))
        bad = (values < low) | (values > high)
        if bad.any():
            raise FloodInputError(
                f"{name} of {values[bad][0]:g}",
                expected=f"{low:g} to {high:g}" if np.isfinite(high) else f"{low:g} or more",
            )

    @property
    def count(self) -> int:
        """Number of sites."""
        return self.drainage_area_ha.size

    def array(self, name: str) -> FloatArray:
        """One of the numeric inputs as an array over sites."""
        return floats(getattr(self, name))


@dataclass(frozen=True, slots=True)
class Flag:
    """A remark about some of the sites.

    Parameters
    ----------
    code
        Short stable name.
    text
        One plain sentence.
    where
        The sites it holds for, shape (n,).
    outside
        True when it means that the method is used outside its published limits.
    """

    code: str
    text: str
    where: BoolArray
    outside: bool = True


@dataclass(frozen=True, slots=True)
class FloodEstimate:
    """Peak flow of one method for one return period at n sites; arrays ``(n,)``.

    Parameters
    ----------
    method
        Name of the method.
    return_period_yr
        Return period in years.
    value_m3s, low_m3s, high_m3s
        Likely flow and its range in m3/s; NaN where there is none.
    limits_met
        True where there is a value and every published limit of the method holds.
    is_minimum
        True where the drainage area is cut off, so that the flow is a minimum.
    range_source
        What the range rests on; empty when there is none yet.
    flags
        Remarks.
    """

    method: str
    return_period_yr: float
    value_m3s: FloatArray
    low_m3s: FloatArray
    high_m3s: FloatArray
    limits_met: BoolArray
    is_minimum: BoolArray
    range_source: str
    flags: tuple[Flag, ...]


@runtime_checkable
class FloodMethod(Protocol):
    """A way to estimate the peak flow at sites.

    Attributes
    ----------
    name
        Short stable name, by which a person asks for it.
    title
        What people read.
    source
        Report, table or page.
    limits
        Published limits in one plain sentence.
    needs
        Names of the inputs it uses, fields of `SiteFloodInputs`.
    """

    @property
    def name(self) -> str: ...  # noqa: D102 - see the class docstring
    @property
    def title(self) -> str: ...  # noqa: D102
    @property
    def source(self) -> str: ...  # noqa: D102
    @property
    def limits(self) -> str: ...  # noqa: D102
    @property
    def needs(self) -> tuple[str, ...]: ...  # noqa: D102

    def peak_flow(self, inputs: SiteFloodInputs, return_period_yr: float) -> FloodEstimate:
        """Peak flow at every site; NaN, with a flag that says why, where there is none.

        Nothing is extrapolated from the rainfall given, and a value outside the method's limits is
        flagged, never hidden.
        """
        ...  # pragma: no cover - a protocol has no body


def build_estimate(
    method: FloodMethod,
    inputs: SiteFloodInputs,
    return_period_yr: float,
    *,
    value_m3s: ArrayLike,
    low_m3s: ArrayLike = np.nan,
    high_m3s: ArrayLike = np.nan,
    range_source: str = "",
    flags: Iterable[Flag] = (),
) -> FloodEstimate:
    """Assemble an estimate: freeze arrays, keep flags that hold anywhere, derive limits met.

    The values are one or ``(n,)``.
    """
    shape = inputs.drainage_area_ha.shape
    value = frozen(np.broadcast_to(floats(value_m3s), shape))
    kept = tuple(
        Flag(f.code, f.text, frozen_mask(np.broadcast_to(f.where, shape)), outside=f.outside)
        for f in flags
        if f.where.any()
    )
    outside = np.zeros(shape, dtype=bool)
    for flag in kept:
        if flag.outside:
            outside |= flag.where
    return FloodEstimate(
        method=method.name,
        return_period_yr=float(return_period_yr),
        value_m3s=value,
        low_m3s=frozen(np.broadcast_to(floats(low_m3s), shape)),
        high_m3s=frozen(np.broadcast_to(floats(high_m3s), shape)),
        limits_met=frozen_mask(np.isfinite(value) & ~outside),
        is_minimum=frozen_mask(~np.asarray(inputs.area_complete, dtype=bool)),
        range_source=range_source,
        flags=kept,
    )


def everywhere(inputs: SiteFloodInputs) -> BoolArray:
    """Return a mask that holds for every site. Its shape is ``(n,)``."""
    return np.ones(inputs.count, dtype=bool)


def no_estimate(
    method: FloodMethod, inputs: SiteFloodInputs, return_period_yr: float, *, code: str, why: str
) -> FloodEstimate:
    """Return an estimate without values, with the reason."""
    flag = Flag(code, why, everywhere(inputs))
    return build_estimate(method, inputs, return_period_yr, value_m3s=np.nan, flags=(flag,))


def missing_flag(inputs: SiteFloodInputs, names: Iterable[str]) -> Flag:
    """Return a flag for sites where one of the named inputs is not known."""
    where = np.zeros(inputs.count, dtype=bool)
    lacking = []
    for name in names:
        unknown = np.isnan(inputs.array(name))
        if unknown.any():
            lacking.append(name.removesuffix("_h").replace("_", " "))
            where |= unknown
    return Flag("input_missing", f"Not known here: {', '.join(lacking)}.", where)
