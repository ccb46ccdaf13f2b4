"""Reading the land of a run: the elevation raster, or the part of it that the ranch needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
from numpy.typing import NDArray

from cli.progress_bar import Talk
from siting.channels.study_area import StudyArea
from terrain.channels.drainage_areas import Catchments
from terrain.flow.conditioning import condition
from terrain.flow.flow_field import FlowField
from terrain.reading.dem import DemReading, part_of_grid, read_dem
from terrain.reading.survey import DemSurvey, ReadOptions, survey_dem
from terrain.values.errors import BoundaryError
from terrain.values.grid import Grid
from terrain.values.memory import MemoryNeed, require_memory
from terrain.values.progress import Progress
from terrain.vectors.boundary import Boundary, mask_of, read_boundary

#: Rasters of up to this many cells are always read whole: choosing a part would save little.
WHOLE_UP_TO_CELLS = 4_000_000
#: Cells of the overview on which the part is chosen.
OVERVIEW_CELLS = 1_000_000
#: The part is widened by this share of its size, and by so many cells of the overview.
MARGIN_SHARE, MARGIN_CELLS = 0.05, 12
#: A part of more than this share of the raster is not worth it.
WORTH_SHARE = 0.8
#: A run that needs more memory than this says so at its start.
MUCH_BYTES = 2 * 2**30


@dataclass(frozen=True, slots=True, eq=False)
class Land:
    """The raster of a run and the ranch on it.

    Parameters
    ----------
    reading
        The raster and how it was read.
    boundary
        The ranch in the raster's coordinate system, or None.
    part_words
        What part of a larger raster was read, in words; empty for the whole.
    """

    reading: DemReading
    boundary: Boundary | None
    part_words: str = ""

    @property
    def notes(self) -> tuple[str, ...]:
        """Everything that was done to raster and boundary, plain sentences."""
        of_boundary = self.boundary.notes if self.boundary is not None else ()
        part = (self.part_words,) if self.part_words else ()
        return (*self.reading.notes, *of_boundary, *part)

    @property
    def problems(self) -> tuple[str, ...]:
        """What may be wrong with the raster, plain sentences."""
        return self.reading.survey.problems


def read_land(
    paths: Sequence[str],
    options: ReadOptions,
    *,
    boundary_file: str | None = None,
    boundary_layer: str | None = None,
    whole: bool = False,
    talk: Talk,
    progress: Progress,
) -> Land:
    """Read the raster of a run; with a boundary only the part that drains into the ranch.

    Parameters
    ----------
    paths
        One raster, or the tiles of one.
    options
        What is known better than the files say.
    boundary_file, boundary_layer
        The ranch.
    whole
        Read the whole raster even where a part would do.
    talk
        Told what is decided.
    progress
        Told how far the work is.

    Raises
    ------
    GullywalkError
        As the readers of raster and boundary; MemoryNeedError before anything long runs.
    """
    survey = survey_dem(paths, options)
    grid = survey.grid
    boundary = None
    if boundary_file is not None:
        if grid.crs is None:
            raise BoundaryError("a boundary on a raster whose place is not known")
        boundary = read_boundary(boundary_file, grid.crs, layer=boundary_layer, grid=grid)
    bounds = None
    if boundary is not None and grid.size > WHOLE_UP_TO_CELLS and not whole:
        bounds = _part_needed(paths, options, survey, boundary, progress)
    if bounds is None:
        _say_need(require_memory(grid.size), talk)
        return Land(read_dem(paths, options=options, progress=progress), boundary)
    part = part_of_grid(grid, bounds)
    _say_need(require_memory(part.size, do="use a coarser DEM, or a smaller --boundary"), talk)
    reading = read_dem(paths, options=options, bounds=bounds, progress=progress)
    words = (
        f"Only the part of the raster that drains into the ranch was read: {part.rows:,} x "
        f"{part.cols:,} of {grid.rows:,} x {grid.cols:,} cells."
    )
    talk.detail(words)
    return Land(reading, boundary, words)


def _say_need(need: MemoryNeed, talk: Talk) -> None:
    """Say what memory a run needs; without being asked only where it is much."""
    (talk.say if need.need_bytes > MUCH_BYTES else talk.detail)(f"{need.sentence}.")


def read_whole(land: Land, paths: Sequence[str], options: ReadOptions, progress: Progress) -> Land:
    """Read all of a raster of which a part turned out too small."""
    require_memory(land.reading.survey.grid.size)
    return replace(land, reading=read_dem(paths, options=options, progress=progress), part_words="")


def part_is_too_small(land: Land, flow: FlowField, counts: NDArray[Any]) -> bool:
    """Tell whether land beyond the part that was read may drain into the ranch.

    Parameters
    ----------
    land
        What was read.
    flow, counts
        Flow directions and drainage counts on it.
    """
    if not land.part_words or land.boundary is None:
        return False
    grid, whole = land.reading.raster.grid, land.reading.survey.grid
    area = StudyArea.of(Catchments.of(flow, counts), mask_of(land.boundary.polygon, grid))
    cells = np.arange(grid.size).reshape(grid.shape)
    west, south, east, north = grid.bounds
    west_all, south_all, east_all, north_all = whole.bounds
    tolerance = 0.5 * grid.cell_m
    return bool(
        (west > west_all + tolerance and area.contains(cells[:, 0]).any())
        or (east < east_all - tolerance and area.contains(cells[:, -1]).any())
        or (north < north_all - tolerance and area.contains(cells[0]).any())
        or (south > south_all + tolerance and area.contains(cells[-1]).any())
    )


def _part_needed(
    paths: Sequence[str],
    options: ReadOptions,
    survey: DemSurvey,
    boundary: Boundary,
    progress: Progress,
) -> tuple[float, float, float, float] | None:
    """Bounds of the land that drains into the ranch, with a margin; None when it is nearly all."""
    overview = read_dem(paths, options=options, max_cells=OVERVIEW_CELLS, progress=progress)
    flow = condition(overview.raster).flow
    grid = overview.raster.grid
    inside = mask_of(boundary.polygon, grid)
    if not inside.any():
        return None
    drained = StudyArea.of(Catchments.of(flow, flow.accumulate()), inside).bounds()
    edges = np.array([boundary.bounds, drained or boundary.bounds])
    (west, south), (east, north) = edges[:, :2].min(axis=0), edges[:, 2:].max(axis=0)
    margin = max(MARGIN_SHARE * max(east - west, north - south), MARGIN_CELLS * grid.cell_m)
    wanted = (west - margin, south - margin, east + margin, north + margin)
    return wanted if _share(wanted, survey.grid) < WORTH_SHARE else None


def _share(bounds: tuple[float, float, float, float], grid: Grid) -> float:
    """Share of a grid that lies within bounds."""
    west, south, east, north = grid.bounds
    wide = min(bounds[2], east) - max(bounds[0], west)
    high = min(bounds[3], north) - max(bounds[1], south)
    return wide * high / ((east - west) * (north - south))


def ranch_name(boundary_file: str, layer: str | None = None) -> str:
    """Name of the ranch: the boundary's first ``name``, or else the file's own name."""
    try:
        meta, _, _, values = pyogrio.raw.read(boundary_file, layer=layer, read_geometry=False)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError):
        return Path(boundary_file).stem
    for field, column in zip(meta["fields"], values, strict=True):
        if str(field).casefold() == "name" and len(column) and isinstance(column[0], str):
            return str(column[0]).strip() or Path(boundary_file).stem
    return Path(boundary_file).stem
