"""The ground behind maps of a plan: from the plan's own relief, or from an elevation raster."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from pyproj import CRS

from cli.figures.ground_drawing import draw_ground
from cli.plan.fields import Units
from cli.plan.relief import Bounds
from cli.plan.relief_layer import ReliefPicture, read_relief
from cli.plan.site_ground import Ground, ground_of
from cli.plan.unit_sentences import in_units


class OfPlan(Protocol):
    """What is asked of a plan: `cli.plan.plan_reading.PlanFile` has it, and `PlanGround`."""

    @property
    def path(self) -> Path:
        """Its file."""
        ...

    @property
    def crs(self) -> CRS | None:
        """Its coordinate system."""
        ...

    @property
    def run_info(self) -> Mapping[str, str]:
        """Record of the run that made it."""
        ...

    @property
    def units(self) -> Units:
        """Its units."""
        ...


@dataclass(frozen=True, slots=True)
class PlanGround:
    """A plan that is read already, as far as the ground asks: see `OfPlan`."""

    path: Path
    crs: CRS | None
    run_info: Mapping[str, str]
    units: Units


class Backdrop(Protocol):
    """Ground that can be drawn behind any map of the plan."""

    @property
    def source_line(self) -> str:
        """Which ground it is, one sentence."""
        ...

    def draw(self, axes: Axes, bounds: Bounds, units: Units) -> tuple[str, list[Text]]:
        """Draw it; return words about contours and their labels."""
        ...


@dataclass(frozen=True, slots=True)
class NoGround:
    """Nothing: the plan holds no relief and no raster was given."""

    source_line: str = "The plan holds no shaded relief, so the ground is not drawn."

    def draw(self, axes: Axes, bounds: Bounds, units: Units) -> tuple[str, list[Text]]:
        """Draw nothing."""
        return "", []


@dataclass(frozen=True, slots=True, eq=False)
class RasterGround:
    """Hillshade and contours from an elevation raster."""

    ground: Ground
    units: Units

    @property
    def source_line(self) -> str:
        """Which raster."""
        return self.ground.source_line(self.units)

    def draw(self, axes: Axes, bounds: Bounds, units: Units) -> tuple[str, list[Text]]:
        """Draw hillshade and contours."""
        return draw_ground(axes, self.ground.raster, bounds, units, soft=True)


@dataclass(frozen=True, slots=True, eq=False)
class PlanRelief:
    """Shaded relief that the plan carries."""

    picture: ReliefPicture
    source_line: str

    def draw(self, axes: Axes, bounds: Bounds, units: Units) -> tuple[str, list[Text]]:
        """Draw the part of it that is seen."""
        grid = self.picture.grid
        west, south, east, north = bounds
        (row0, row1), (col0, col1) = (
            np.sort(v) for v in grid.rowcol(np.array([west, east]), np.array([north, south]))
        )
        row0, row1 = np.clip((row0, row1 + 1), 0, grid.rows).tolist()
        col0, col1 = np.clip((col0, col1 + 1), 0, grid.cols).tolist()
        if row1 <= row0 or col1 <= col0:
            return "", []
        t = grid.transform
        left, top = t.c + col0 * t.a, t.f + row0 * t.e
        axes.imshow(
            self.picture.rgb[row0:row1, col0:col1],
            extent=(left, left + (col1 - col0) * t.a, top + (row1 - row0) * t.e, top),
            origin="upper",
            interpolation="bilinear",
            aspect="auto",
            zorder=1.0,
        )
        return "", []


def backdrop_of(
    plan: OfPlan, dem: Sequence[str], bounds: Bounds
) -> tuple[Backdrop, tuple[str, ...]]:
    """Find the ground to draw, and what a person should know of it.

    Parameters
    ----------
    plan
        The plan.
    dem
        The elevation raster or its tiles; empty to use what the plan carries.
    bounds
        West, south, east and north that all maps lie within, m.

    Raises
    ------
    GullywalkError
        As the reader of rasters, or one that does not belong to the plan.
    """
    if dem:
        ground = ground_of(dem, bounds, plan.crs, plan.run_info)
        return RasterGround(ground, plan.units), ground.notes
    picture = read_relief(plan.path)
    if picture is None:
        return NoGround(), ()
    return PlanRelief(picture, _made_from(plan)), ()


def _made_from(plan: OfPlan) -> str:
    """Say which raster the plan was made from, as its record has it."""
    name = plan.run_info.get("dem", "").split(",")[0]
    cells = in_units(plan.run_info.get("grid", "").partition(" cells of ")[2], plan.units)
    return f"Elevation: {name or 'not named'}{f', cells of {cells}' if cells else ''}."
