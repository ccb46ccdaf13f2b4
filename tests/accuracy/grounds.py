"""Invented grounds by name, each with its truth, to fit finding and confidence on and to score.

Seeds have a purpose each: what is fitted on one is never scored on it.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from sample_dem import lidar
from sample_dem.generator import make_ranch
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.kept import kept_folder
from tests.second_ground import ground as second

FITTING = range(1101, 1200)
SCORING = range(1201, 1300)  # never fitted on
HELD_BACK = range(1301, 1400)

RANCH_CELLS = 800
COUNTED_M = 0.6


@dataclass(frozen=True, slots=True)
class MadeGround:
    """One invented ground as a program gets it, and the truth about it.

    ``truth["headcuts"]`` holds for each head ``x``, ``y`` (the lip, in map coordinates),
    ``height_m``, ``kind`` and ``counted``; a head that is not counted is neither missed nor wrong.
    """

    name: str
    seed: int
    elevation: NDArray[np.float32]
    transform: Affine
    crs: str
    truth: dict[str, Any]
    gully: NDArray[np.int32] | None  # number of the gully of each 1 m cell, 0 outside

    @property
    def cell_m(self) -> float:
        return float(self.transform.a)

    def raster(self) -> Raster:
        """The elevations as the library takes them."""
        return Raster.from_array(self.elevation, grid=Grid(*self.elevation.shape, self.transform))  # type: ignore[call-arg]

    def heads(self, *, counted: bool = True) -> NDArray[np.float64]:
        """Map coordinates and height of the heads: columns x, y, height (m)."""
        rows = [
            (h["x"], h["y"], h["height_m"])
            for h in self.truth["headcuts"]
            if h["counted"] or not counted
        ]
        return np.array(rows, float).reshape(-1, 3)


def _counted(truth: dict[str, Any]) -> dict[str, Any]:
    heads = [{"counted": h["height_m"] >= COUNTED_M, **h} for h in truth["headcuts"]]
    return truth | {"headcuts": heads}


def _coarser(transform: Affine, cell_m: float) -> Affine:
    return Affine(cell_m, 0, transform.c, 0, -cell_m, transform.f)


def _ranch(seed: int, how: lidar.Survey | None, cell_m: float) -> MadeGround:
    n = int(RANCH_CELLS / cell_m)
    if how is None:
        ranch = make_ranch(seed, n, n, cell_m=cell_m)
        elevation = ranch.elevation
    else:
        ranch = make_ranch(seed, 2 * RANCH_CELLS, 2 * RANCH_CELLS, cell_m=0.5)
        elevation = lidar.survey_ground(ranch.clean, 0.5, cell_m, seed, how)
    transform = _coarser(ranch.transform, cell_m)
    return MadeGround("", seed, elevation, transform, ranch.crs, _counted(ranch.truth), None)


def _second(seed: int, how: lidar.Survey | None, cell_m: float) -> MadeGround:
    made = second.make_ground(seed)
    if how is None and cell_m == second.CELL_M:
        elevation = made.elevation
    elif how is None:
        raise ValueError("the plain second ground has cells of 1 m")
    else:
        elevation = lidar.survey_ground(
            made.fine, second.FINE_M, cell_m, seed, how, water=made.water
        )
    transform = _coarser(made.transform, cell_m)
    return MadeGround("", seed, elevation, transform, made.crs, made.truth, made.gully)


_MAKERS: dict[str, tuple[Callable[..., MadeGround], lidar.Survey | None]] = {
    "ranch_plain": (_ranch, None),
    "ranch_lidar": (_ranch, lidar.Survey()),
    "ranch_sparse": (_ranch, lidar.Survey(density_per_m2=1.0, vertical_m=0.08)),
    "second_plain": (_second, None),
    "second_lidar": (_second, lidar.Survey()),
    "second_sparse": (_second, lidar.Survey(density_per_m2=1.0, vertical_m=0.08)),
}
NAMES = tuple(_MAKERS)


def made_ground(name: str, seed: int, *, cell_m: float = 1.0) -> MadeGround:
    """A ground by name and seed, from the disk where it was made before.

    Parameters
    ----------
    name
        One of ``NAMES``.
    seed
        Of ``FITTING``, ``SCORING`` or ``HELD_BACK``. On the second ground its remainder by four
        picks the kind of land.
    cell_m
        Cell size (m): 0.5, 1, 2, 3 or 5. The truth stays the same.
    """
    make, how = _MAKERS[name]
    folder = kept_folder("grounds", Path(lidar.__file__).parent, Path(second.__file__).parent)
    path = folder / f"{name}_{seed}_{cell_m:g}.pickle"
    with contextlib.suppress(FileNotFoundError), open(path, "rb") as file:
        kept: MadeGround = pickle.load(file)
        return kept
    got = make(seed, how, cell_m)
    made = MadeGround(name, seed, got.elevation, got.transform, got.crs, got.truth, got.gully)
    with tempfile.NamedTemporaryFile(dir=folder, delete=False) as part:
        pickle.dump(made, part, protocol=pickle.HIGHEST_PROTOCOL)
    os.replace(part.name, path)
    return made
