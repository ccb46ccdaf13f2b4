"""The ground around a site, read again from the elevation raster of its plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pyproj import CRS

from cli.plan.fields import Units
from terrain.reading.dem import DemReading, read_dem
from terrain.reading.survey import ReadOptions, survey_dem
from terrain.values.errors import GridMismatchError
from terrain.values.raster import Raster
from terrain.values.reader_units import exactly

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Ground around a site.

    Parameters
    ----------
    reading
        The part of the raster that was read.
    notes
        What a person should know of it, plain sentences.
    """

    reading: DemReading
    notes: tuple[str, ...]

    @property
    def raster(self) -> Raster:
        """Elevations, m."""
        return self.reading.raster

    def source_line(self, units: Units) -> str:
        """Say which raster this is and how large its cells are."""
        size = exactly(self.raster.grid.cell_m, "m", units=units)
        names = [Path(source.path).name for source in self.reading.sources]
        more = f" and {len(names) - 1} more" if len(names) > 1 else ""
        return f"Elevation: {names[0]}{more}, cells of {size}."


def ground_of(
    paths: Sequence[str],
    bounds: Bounds,
    crs: CRS | None,
    run: Mapping[str, str],
    *,
    what: str = "the site does",
) -> Ground:
    """Read the ground around a site as the run read it.

    Parameters
    ----------
    paths
        The raster, or the tiles of it.
    bounds
        West, south, east and north, m.
    crs
        Coordinate system of the plan.
    run
        Record of the run, which says how the raster was read and what its content was.
    what
        What is looked for there, with its verb, for the message when it lies elsewhere.

    Raises
    ------
    GridMismatchError
        The raster has another coordinate system than the plan, or lies elsewhere.
    GullywalkError
        As the reader of rasters.
    """
    options = ReadOptions(
        crs=run.get("setting: crs"), vertical_unit=run.get("setting: vertical_unit")
    )
    grid = survey_dem(paths, options).grid
    name = Path(paths[0]).name
    do = "give the raster that the plan was made from"
    if crs is not None and grid.crs != crs:
        raise GridMismatchError(
            f"{name} comes in another coordinate system than the plan", expected=crs.name, do=do
        )
    west, south, east, north = grid.bounds
    if bounds[2] <= west or bounds[0] >= east or bounds[3] <= south or bounds[1] >= north:
        raise GridMismatchError(f"{what} not lie on {name}", do=do)
    reading = read_dem(paths, options=options, bounds=bounds)
    recorded = " ".join(value for key, value in run.items() if key.split(" ")[0] == "dem")
    strange = [Path(s.path).name for s in reading.sources if s.sha256 not in recorded]
    notes = [f"{n} is not the raster that the plan was made from." for n in strange]
    return Ground(reading, tuple(notes))
