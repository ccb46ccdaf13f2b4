"""The floods of one place on one sheet, from a plan or worked out at a point."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cli.file_errors import LayerError
from cli.plan.layers import Layer
from siting.floods.flood_errors import FloodInputError, RainfallError
from siting.floods.rainfall import RainBounds, Rainfall
from siting.floods.unit_hydrograph import Hydrograph, hydrograph
from siting.places.flood_at_points import PointFloods
from siting.record.flood_tables import flood_columns, input_columns, rain_columns
from siting.values.wording import metres

Columns = Mapping[str, NDArray[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class FloodSheet:
    """Floods of one place; SI.

    Parameters
    ----------
    title
        What place this is.
    floods
        Columns of the table ``floods`` for this place.
    inputs
        Fields of the table ``flood_inputs`` for this place.
    rainfall
        The rain, or None.
    cautions
        Plain sentences.
    """

    title: str
    floods: Columns
    inputs: Mapping[str, Any]
    rainfall: Rainfall | None
    cautions: tuple[str, ...] = ()

    @property
    def methods(self) -> tuple[str, ...]:
        """Names of the methods in their order."""
        return tuple(dict.fromkeys(str(m) for m in self.floods["method"]))

    @property
    def used(self) -> str:
        """Name of the method used; empty where none gives a flow."""
        names = self.floods["method"][self.floods["used"]]
        return str(names[0]) if len(names) else ""

    def row(self, method: str, return_period_yr: int) -> dict[str, Any]:
        """One row of the table ``floods``."""
        at = (self.floods["method"] == method) & (
            self.floods["return_period_yr"] == return_period_yr
        )
        i = int(np.flatnonzero(at)[0])
        return {name: values[i] for name, values in self.floods.items()}

    def hydrograph(self, return_period_yr: int) -> Hydrograph:
        """Flood over time by the unit hydrograph method.

        Raises
        ------
        FloodInputError
            What the method needs is not known here; the message says what.
        """
        number, tc = float(self.inputs["curve_number"]), float(self.inputs["tc_h"])
        why = ""
        if self.rainfall is None:
            why = "no rainfall was given"
        elif not (math.isfinite(number) and math.isfinite(tc)):
            why = "curve number or time of concentration are not known"
        elif "unit_hydrograph" in self.methods:
            row = self.row("unit_hydrograph", return_period_yr)
            if not math.isfinite(float(row["q_m3s"])):
                why = str(row["note"] or "the method gives no flow").rstrip(".")
        if why or self.rainfall is None:
            raise FloodInputError(
                f"no hydrograph of the {return_period_yr}-year flood can be drawn: {why}",
                expected="rainfall with storms of one hour or shorter, and curve numbers",
            )
        return hydrograph(
            float(self.inputs["drainage_area_ha"]),
            curve_number=number,
            time_of_concentration_h=tc,
            rainfall=self.rainfall,
            return_period_yr=float(return_period_yr),
        )


def sheet_of_site(layers: Mapping[str, Layer], site_id: int, *, plan: str) -> FloodSheet:
    """Take the sheet of one site out of a plan.

    Raises
    ------
    LayerError
        The plan has no such site, or no floods.
    """
    for name in ("sites", "floods", "flood_inputs", "rainfall"):
        if name not in layers:
            raise LayerError(
                f"{plan} has no table '{name}'",
                expected="a plan made by gullywalk screen",
                do="make it again with this version",
            )
    sites = layers["sites"].columns
    at = np.flatnonzero(sites["site_id"] == site_id)
    if not at.size:
        ids = sites["site_id"]
        has = f"sites {ids.min()} to {ids.max()}" if ids.size else "no sites"
        raise LayerError(f"{plan} has no site {site_id}", expected=f"one of its sites: {has}")
    floods, inputs = layers["floods"].columns, layers["flood_inputs"].columns
    rows = floods["site_id"] == site_id
    if not rows.any():
        raise LayerError(
            f"{plan} holds no floods",
            expected="a plan made with rain and curve numbers, or with a region",
            do="give --rain and --curve-number to gullywalk screen",
        )
    i, j = int(at[0]), int(np.flatnonzero(inputs["site_id"] == site_id)[0])
    return FloodSheet(
        title=f"Site {site_id}, {_rank(int(sites['rank'][i]))}: {sites['structure'][i]}, channel "
        f"{sites['channel_id'][i]} at {metres(float(sites['station_m'][i]))}, longitude "
        f"{sites['lon'][i]:.5f}, latitude {sites['lat'][i]:.5f}",
        floods={name: values[rows] for name, values in floods.items()},
        inputs={name: values[j] for name, values in inputs.items()},
        rainfall=_rain(layers["rainfall"].columns),
        cautions=_cautions(bool(inputs["area_complete"][j])),
    )


def sheet_of_point(found: PointFloods, *, extra: Sequence[str] = ()) -> FloodSheet:
    """Make the sheet of the first of some points."""
    inputs = input_columns(
        found.floods,
        found.settings,
        drainage_area_ha=found.drainage_area_ha,
        area_complete=found.area_complete,
    )
    floods = flood_columns(found.floods)
    if not floods["site_id"].size:
        why = found.settings.missing or "No flood method gives a flow here."
        names = found.floods.compared.name[0]
        notes = [
            f"{name}: {note}"
            for name, note in zip(names, found.floods.compared.note[0, :, 2], strict=True)
            if note
        ]
        raise FloodInputError(" ".join([why, *notes]), expected="rain and runoff, or a region")
    moved = float(found.moved_m[0])
    rain = found.settings.rainfall
    return FloodSheet(
        title=f"Place at x {found.x_m[0]:.1f}, y {found.y_m[0]:.1f}"
        + (f", {metres(moved)} from the point given" if moved > 0 else ""),
        floods={n: v[floods["site_id"] == 1] for n, v in floods.items()},
        inputs={name: values[0] for name, values in inputs.items()},
        rainfall=None if rain is None else _rain(rain_columns(rain)),
        cautions=(*_cautions(bool(found.area_complete[0])), *extra),
    )


def _cautions(complete: bool) -> tuple[str, ...]:
    if complete:
        return ()
    return (
        "The raster's edge or a hole cuts the drainage area: the area and every flow are minima.",
    )


def _rain(columns: Columns) -> Rainfall | None:
    """Rainfall table of a plan."""
    if not len(columns["depth_mm"]):
        return None
    durations, d = np.unique(columns["duration_h"], return_inverse=True)
    periods, r = np.unique(columns["return_period_yr"], return_inverse=True)

    def table(name: str) -> NDArray[np.float64]:
        depths = np.full((durations.size, periods.size), np.nan)
        depths[d, r] = columns[name]
        return depths

    source = str(columns["source"][0] or "rainfall of the plan")
    low, high = table("low_mm"), table("high_mm")
    bounds = RainBounds(low, high) if np.isfinite([low, high]).all() else None
    try:
        return Rainfall(durations, periods, table("depth_mm"), source=source, bounds=bounds)
    except RainfallError as error:
        raise RainfallError(
            f"the rainfall of the plan was changed: {error.found}", do="make the plan again"
        ) from error


def _rank(rank: int) -> str:
    """Rank of a site's work; what is not built has none."""
    return f"rank {rank}" if rank > 0 else "no rank"
