"""What a raster is before anything is looked for on it, and what a run on it would need."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from terrain.reading.dem import OVERVIEW_NOTE, Source, read_dem
from terrain.reading.survey import DemSurvey, ReadOptions, survey_dem
from terrain.values.memory import MemoryNeed, memory_need
from terrain.values.progress import Progress, silent
from terrain.vectors.boundary import Boundary, read_boundary

#: A whole screening, s for a million cells, and what every run takes besides, s. Measured on two
#: busy cores with compiled kernels (see DEVELOPERS.md, "Measured"); many sites take longer.
RUN_S_PER_MILLION_CELLS, RUN_S_AT_LEAST = 0.6, 3.0
#: An overview of this many cells is read: enough for the extremes of the ground.
OVERVIEW_CELLS = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Inspection:
    """What a raster is; all sizes SI.

    Parameters
    ----------
    survey
        The files, the working grid and what may go wrong with them.
    sources
        The files, with hashes of their content.
    low_m, high_m
        Lowest and highest ground of an overview.
    known_share
        Share of its cells that have ground.
    boundary
        The ranch; None where none was given or the raster has no place.
    need
        Memory that a run on the whole raster needs, and what is free.
    reading_notes
        Plain sentences: what is done with the raster and the boundary.
    """

    survey: DemSurvey
    sources: tuple[Source, ...]
    low_m: float
    high_m: float
    known_share: float
    boundary: Boundary | None
    need: MemoryNeed
    reading_notes: tuple[str, ...]

    @property
    def area_ha(self) -> float:
        """Known ground, ha."""
        grid = self.survey.grid
        return self.known_share * grid.size * grid.cell_area_m2 / 1e4

    @property
    def run_s(self) -> float:
        """Time that a run on the whole raster takes on two cores, s."""
        return RUN_S_AT_LEAST + RUN_S_PER_MILLION_CELLS * self.survey.grid.size / 1e6

    @property
    def works(self) -> bool:
        """Whether a run could work."""
        return self.need.fits


def inspect_dem(
    paths: Sequence[str | os.PathLike[str]],
    options: ReadOptions | None = None,
    *,
    boundary_file: str | os.PathLike[str] | None = None,
    boundary_layer: str | None = None,
    progress: Progress = silent,
) -> Inspection:
    """Survey a raster, or the tiles of one, and read an overview of it.

    Parameters
    ----------
    paths
        One raster, or the tiles of one.
    options
        What is known better than the files say.
    boundary_file, boundary_layer
        The ranch.
    progress
        Told how far the work is.

    Raises
    ------
    RasterReadError, CrsError, VerticalUnitError, GridMismatchError, MemoryNeedError
        A raster that cannot be used.
    BoundaryError
        A boundary that cannot be used.
    """
    survey = survey_dem(paths, options)
    grid = survey.grid
    boundary = None
    if boundary_file is not None and grid.crs is not None:
        boundary = read_boundary(boundary_file, grid.crs, layer=boundary_layer, grid=grid)
    reading = read_dem(paths, options=options, max_cells=OVERVIEW_CELLS, progress=progress)
    raster = reading.raster
    heights = raster.elevation_m[raster.valid]
    of_boundary = boundary.notes if boundary is not None else ()
    of_raster = [note for note in reading.notes if not note.startswith(OVERVIEW_NOTE)]
    return Inspection(
        survey=survey,
        sources=reading.sources,
        low_m=float(heights.min()),
        high_m=float(heights.max()),
        known_share=float(np.mean(raster.valid)),
        boundary=boundary,
        need=memory_need(grid.size),
        reading_notes=(*of_raster, *of_boundary),
    )
