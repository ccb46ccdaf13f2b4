"""The conditioning and directions of the pysheds library behind our interface."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.codes import OUTLET, VOID
from terrain.flow.conditioning import CarveLimits, Conditioned, ConditioningReport, condition
from terrain.flow.engines import beside_outside
from terrain.flow.flow_field import FlowField
from terrain.values.errors import EngineError
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster

#: What pysheds is told to write for the codes 0 to 7; it keeps 0 and negative numbers for others.
DIRECTIONS = (1, 2, 3, 4, 5, 6, 7, 8)
LEAST_SIDE = 3


class PyshedsEngine:
    """Pits and depressions filled, flats inflated, then D8, all by pysheds.

    It always fills, so limits of cuts do not apply, and its report counts raised cells only. It
    does not let water leave at holes inside the raster. Cells that it leaves without a direction
    become outlets where they touch the outside; where others are left, the surface it filled is
    conditioned once more by our own method, and the report counts those cuts.
    """

    name = "pysheds"

    def condition(
        self, raster: Raster, *, limits: CarveLimits | None = None, progress: Progress = silent
    ) -> Conditioned:
        """Fill the raster and give every cell a direction.

        Parameters
        ----------
        raster
            The surface as it was measured; it is not changed.
        limits
            Only used for cells that pysheds leaves without a direction.
        progress
            Told how far the work is.

        Raises
        ------
        EngineError
            When pysheds is not installed or cannot work with the numpy that is.
        """
        if min(raster.grid.shape) < LEAST_SIDE or raster.valid_cells == 0:
            # pysheds needs inner cells; where there are none nothing is to be conditioned
            return condition(raster, limits=limits, progress=progress)
        what = "conditioning with pysheds"
        progress(what, 0.0)
        surface, directions = _run(raster)
        progress(what, 0.9)
        filled = Raster(raster.grid, surface, raster.valid)
        codes = np.full(raster.grid.shape, VOID, dtype=np.uint8)
        known = raster.valid & (directions > 0)
        codes[known] = directions[known] - 1
        left = raster.valid & ~known
        codes[left & beside_outside(raster.valid)] = OUTLET
        flow = FlowField(raster.grid, codes)
        lowered = carved = 0
        if (left & (codes != OUTLET)).any():
            again = condition(filled, limits=limits)
            filled, flow = again.raster, again.flow
            lowered, carved = again.report.lowered_cells, again.report.carved
        raised = int(np.count_nonzero((filled.elevation_m > raster.elevation_m) & raster.valid))
        progress(what, 1.0)
        report = ConditioningReport(carved=carved, lowered_cells=lowered, filled_cells=raised)
        return Conditioned(filled, flow, report)


def _run(raster: Raster) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Return the inflated surface and pysheds' directions: 1 to 8, others where there is none.

    Rounding the surface to single precision keeps its order, so no direction comes to lead up.
    """
    grid_class, raster_class, view_class = _library()
    known = raster.elevation_m[raster.valid]
    nodata = np.float64(np.floor(known.min()) - 1000)
    view = view_class(affine=raster.grid.transform, shape=raster.grid.shape, nodata=nodata)
    z = np.where(raster.valid, raster.elevation_m, nodata).astype(np.float64)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pysheds' own, about the libraries it uses
        grid = grid_class(viewfinder=view)
        dem = grid.fill_pits(raster_class(z, viewfinder=view))
        dem = grid.resolve_flats(grid.fill_depressions(dem))
        dem[~raster.valid] = nodata  # it inflates flats of voids too and then takes them for ground
        directions = np.array(grid.flowdir(dem, dirmap=DIRECTIONS), dtype=np.int64)
    surface = np.array(dem, dtype=np.float32)
    surface[~raster.valid] = np.nan
    return surface, directions


def _library() -> tuple[Any, Any, Any]:
    """Import pysheds, which takes seconds, only when it is used."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from pysheds.grid import Grid
            from pysheds.sview import Raster as PyshedsRaster
            from pysheds.sview import ViewFinder
    except ImportError as error:
        raise EngineError(
            f"the flow engine 'pysheds' needs pysheds, which cannot be imported ({error})",
            do="install it with: pip install 'gullywalk[pysheds]', or use the native engine",
        ) from error
    return Grid, PyshedsRaster, ViewFinder
