"""Invented grounds by name, each with its truth, to fit finding and confidence on and to score.

Seeds have a purpose each: what is fitted on one is never scored on it.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from sample_dem import lidar
from sample_dem.extras import Extras
from sample_dem.generator import make_ranch
from sample_dem.telling_more import GULLY_CUT_M
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.kept import kept_folder
from tests.second_ground import ground as second
from tests.second_ground.fields import terraced_fields

FITTING = range(1101, 1200)
SCORING = range(1201, 1300)  # never fitted on
HELD_BACK = range(1301, 1400)

RANCH_M = 1_000


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
    gully: NDArray[np.int32]  # number of the gully of each 1 m cell, 0 outside
    cut_m: NDArray[np.float32]  # 1 m cells: how far below the ground without any gully

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


def _halved(values: NDArray[np.floating]) -> NDArray[np.float32]:
    rows, cols = (n // 2 for n in values.shape)
    return np.asarray(values.reshape(rows, 2, cols, 2).mean(axis=(1, 3)), np.float32)


def _coarser(transform: Affine, cell_m: float) -> Affine:
    return Affine(cell_m, 0, transform.c, 0, -cell_m, transform.f)


def _ranch(extras: Extras | None) -> Callable[..., MadeGround]:
    def make(seed: int, how: lidar.Survey | None, cell_m: float) -> MadeGround:
        if how is None:
            _only_one_metre(cell_m)
            ranch = make_ranch(seed, RANCH_M, RANCH_M, extras=extras, details=True)
            elevation, gully, cut = ranch.elevation, ranch.gully, ranch.cut_m
        else:
            ranch = make_ranch(
                seed, 2 * RANCH_M, 2 * RANCH_M, cell_m=0.5, extras=extras, details=True
            )
            elevation = lidar.survey_ground(ranch.clean, 0.5, cell_m, seed, how, water=ranch.water)
            cut = _halved(ranch.cut_m)
            whole = ranch.gully.reshape(RANCH_M, 2, RANCH_M, 2).max(axis=(1, 3))
            gully = np.where(cut > GULLY_CUT_M, whole, 0)
        transform = _coarser(ranch.transform, cell_m)
        return MadeGround("", seed, elevation, transform, ranch.crs, ranch.truth, gully, cut)

    return make


def _other(ground: Callable[[int], second.Ground]) -> Callable[..., MadeGround]:
    def make(seed: int, how: lidar.Survey | None, cell_m: float) -> MadeGround:
        made = ground(seed)
        elevation = made.elevation
        if how is None:
            _only_one_metre(cell_m)
        else:
            elevation = lidar.survey_ground(
                made.fine, second.FINE_M, cell_m, seed, how, water=made.water
            )
        transform = _coarser(made.transform, cell_m)
        cut = made.uncut - made.clean
        return MadeGround("", seed, elevation, transform, made.crs, made.truth, made.gully, cut)

    return make


def _only_one_metre(cell_m: float) -> None:
    if cell_m != 1.0:
        raise ValueError("grounds that no lidar has passed over have cells of 1 m")


SPARSE = lidar.Survey(density_per_m2=1.0, vertical_m=0.08)
_MAKERS: dict[str, tuple[Callable[..., MadeGround], lidar.Survey | None]] = {
    "ranch": (_ranch(None), None),
    "ranch_full": (_ranch(Extras()), None),
    "ranch_lidar": (_ranch(None), lidar.Survey()),
    "ranch_full_lidar": (_ranch(Extras()), lidar.Survey()),
    "ranch_full_sparse": (_ranch(Extras()), SPARSE),
    "second": (_other(second.make_ground), None),
    "second_lidar": (_other(second.make_ground), lidar.Survey()),
    "second_sparse": (_other(second.make_ground), SPARSE),
    "terraces": (_other(terraced_fields), None),
    "terraces_lidar": (_other(terraced_fields), lidar.Survey()),
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
        Cell size (m): 0.5, 1, 2, 3 or 5; other than 1 only where lidar has passed. Truth, gullies
        and cut stay the same, at 1 m.
    """
    make, how = _MAKERS[name]
    folder = kept_folder("grounds", Path(lidar.__file__).parent, Path(second.__file__).parent)
    path = folder / f"{name}_{seed}_{cell_m:g}.pickle"
    with contextlib.suppress(FileNotFoundError), open(path, "rb") as file:
        kept: MadeGround = pickle.load(file)
        return kept
    got = make(seed, how, cell_m)
    made = replace(got, name=name)
    with tempfile.NamedTemporaryFile(dir=folder, delete=False) as part:
        pickle.dump(made, part, protocol=pickle.HIGHEST_PROTOCOL)
    os.replace(part.name, path)
    return made
