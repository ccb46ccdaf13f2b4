"""Flow engines: what makes a surface drain and says where each cell drains to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.codes import COL_STEP, OUTLET, ROW_STEP, VOID
from terrain.flow.conditioning import CarveLimits, Conditioned, condition
from terrain.flow.flow_field import FlowField
from terrain.values.errors import EngineError
from terrain.values.plugins import FLOW_ENGINES, Plugins, call_plugin, load_plugins
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster

KIND = "flow engine"
DEFAULT_ENGINE = "native"


@runtime_checkable
class FlowEngine(Protocol):
    """A way to make every cell drain off the raster.

    Attributes
    ----------
    name
        Short stable name, by which a person asks for it.
    """

    @property
    def name(self) -> str: ...  # noqa: D102 - see the class docstring

    def condition(
        self, raster: Raster, *, limits: CarveLimits | None = None, progress: Progress = silent
    ) -> Conditioned:
        """Return a surface that drains, flow codes and a report; the raster is not changed."""
        ...  # pragma: no cover - a protocol has no body


class NativeEngine:
    """Carve first, fill what is too deep or too long: `terrain.flow.conditioning`."""

    name = "native"

    def condition(
        self, raster: Raster, *, limits: CarveLimits | None = None, progress: Progress = silent
    ) -> Conditioned:
        """See `terrain.flow.conditioning.condition`."""
        return condition(raster, limits=limits, progress=progress)


@dataclass(frozen=True, slots=True)
class CheckedEngine:
    """An engine whose result is checked before anyone builds on it.

    Parameters
    ----------
    engine
        The engine that does the work.
    """

    engine: FlowEngine

    @property
    def name(self) -> str:
        """Name of the engine."""
        return self.engine.name

    def condition(
        self, raster: Raster, *, limits: CarveLimits | None = None, progress: Progress = silent
    ) -> Conditioned:
        """Let the engine work and check what comes back.

        Raises
        ------
        EngineError
            When the result is not a surface and flow field that drain.
        PluginError
            When the engine fails.
        """
        result = call_plugin(
            KIND, self.name, lambda: self.engine.condition(raster, limits=limits, progress=progress)
        )
        fault = "it returned no conditioned surface"
        if isinstance(result, Conditioned):
            fault = fault_of(raster, result)
        if fault:
            raise EngineError(
                f"the flow engine {self.name!r} gave a result that cannot be used: {fault}",
                expected="a surface on which every cell drains",
                do=f"use the {DEFAULT_ENGINE} engine",
            )
        return result


def flow_engines() -> Plugins[FlowEngine]:
    """Load all flow engines of the installed packages."""
    return load_plugins(FLOW_ENGINES, kind=KIND, needs=("name", "condition"))


def get_engine(name: str = DEFAULT_ENGINE) -> FlowEngine:
    """Return the flow engine of a name; what it gives is checked unless it is our own.

    Raises
    ------
    PluginError
        When there is no such engine, or it cannot be loaded.
    """
    engine = flow_engines()[name]
    return engine if isinstance(engine, NativeEngine) else CheckedEngine(engine)


def fault_of(raster: Raster, result: Conditioned) -> str:
    """Say why a conditioned surface cannot be used; an empty string when it can.

    Checked: same grid and same known cells; legal codes, which lead to known cells and never up;
    outlets only where a cell touches the outside; no circles.
    """
    codes, grid = result.flow.codes, raster.grid
    if result.raster.grid != grid or result.flow.grid != grid:
        return "it lies on another grid"
    if not np.array_equal(result.raster.valid, raster.valid):
        return "its known cells differ from those of the raster"
    if not np.array_equal(codes != VOID, raster.valid):
        return "cells with a direction and cells with an elevation differ"
    cells = np.flatnonzero(raster.valid)
    code = codes.reshape(-1)[cells]
    if (code > OUTLET).any():
        return f"flow code {int(code.max())} does not exist"
    if (codes[~beside_outside(raster.valid) & raster.valid] == OUTLET).any():
        return "water leaves the raster at a cell that does not touch the outside"
    inner = code < OUTLET
    cells, code = cells[inner], code[inner]
    row, col = np.divmod(cells, grid.cols)
    row, col = row + ROW_STEP[code], col + COL_STEP[code]
    inside = grid.contains(row, col)
    if not inside.all() or not raster.valid[row, col].all():
        return "directions lead off the known ground"
    surface = result.raster.elevation_m
    if (surface[row, col] > surface.reshape(-1)[cells]).any():
        return "directions lead up"
    return _circle(result.flow)


def _circle(flow: FlowField) -> str:
    """Say whether directions run in a circle."""
    try:
        flow.accumulate()
    except EngineError as error:
        return error.found
    return ""


def beside_outside(valid: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark cells on the raster's edge or beside a void, shape as given."""
    rows, cols = valid.shape
    padded = np.zeros((rows + 2, cols + 2), dtype=np.bool_)
    padded[1:-1, 1:-1] = valid
    inner = valid.copy()
    for down, right in zip(ROW_STEP, COL_STEP, strict=True):
        inner &= padded[1 + down : 1 + down + rows, 1 + right : 1 + right + cols]
    return ~inner
