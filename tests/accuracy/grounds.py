"""Invented grounds by name, each with its truth, to fit finding and confidence on and to score.

Seeds have a purpose each: what is fitted on one is never scored on it.
"""

from __future__ import annotations

import contextlib
import functools
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
from rasterio.features import shapes
from shapely import union_all
from shapely.geometry import shape

from sample_dem import lidar
from sample_dem.extras import Extras
from sample_dem.generator import Ranch, make_ranch
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

    def outlines(self) -> dict[int, Any]:
        """Outline of each gully by its number, in map coordinates."""
        found: dict[int, list[Any]] = {}
        transform = _coarser(self.transform, 1.0)
        inside = self.gully > 0
        for ring, number in shapes(self.gully, mask=inside, connectivity=8, transform=transform):
            found.setdefault(int(number), []).append(shape(ring))
        return {number: union_all(parts) for number, parts in found.items()}

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


@functools.lru_cache(maxsize=2)  # several surveys of one ground are made one after another
def _ranch_for(seed: int, extras: Extras | None, cell_m: float) -> Ranch:
    n = int(RANCH_M / cell_m)
    return make_ranch(seed, n, n, cell_m=cell_m, extras=extras, details=True)


@functools.lru_cache(maxsize=2)
def _second_for(seed: int) -> second.Ground:
    return second.make_ground(seed)


def _ranch(extras: Extras | None) -> Callable[..., MadeGround]:
    def make(seed: int, how: lidar.Survey | None, cell_m: float) -> MadeGround:
        if how is None:
            ranch = _ranch_for(seed, extras, 1.0)
            elevation, gully, cut = ranch.elevation, ranch.gully, ranch.cut_m
        else:
            ranch = _ranch_for(seed, extras, 0.5)
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
        if how is not None:
            elevation = lidar.survey_ground(
                made.fine, second.FINE_M, cell_m, seed, how, water=made.water
            )
        transform = _coarser(made.transform, cell_m)
        cut = made.uncut - made.clean
        return MadeGround("", seed, elevation, transform, made.crs, made.truth, made.gully, cut)

    return make


def survey_of(seed: int) -> lidar.Survey:
    """How the ground of a seed was surveyed: as surveys differ from each other."""
    rng = np.random.default_rng([seed, 9])
    return lidar.Survey(
        density_per_m2=float(np.exp(rng.uniform(np.log(1.0), np.log(8.0)))),
        brush_share=float(rng.uniform(0.02, 0.15)),
        brush_density_per_m2=float(rng.uniform(0.1, 0.5)),
        face_density_per_m2=float(rng.uniform(0.15, 0.5)),
        vertical_m=float(rng.uniform(0.03, 0.08)),
        horizontal_m=float(rng.uniform(0.10, 0.20)),
        pits_per_ha=float(rng.uniform(0.0, 1.0)),
        by_distance=bool(rng.random() < 0.25),
        smooth_m=float(rng.uniform(0.4, 1.2)) if rng.random() < 0.35 else 0.0,
    )


def _sparse(seed: int) -> lidar.Survey:
    return lidar.Survey(density_per_m2=1.0, vertical_m=0.08)


_MAKERS: dict[str, tuple[Callable[..., MadeGround], Callable[[int], lidar.Survey] | None]] = {
    "ranch": (_ranch(None), None),
    "ranch_full": (_ranch(Extras()), None),
    "ranch_lidar": (_ranch(None), survey_of),
    "ranch_full_lidar": (_ranch(Extras()), survey_of),
    "ranch_full_sparse": (_ranch(Extras()), _sparse),
    "second": (_other(_second_for), None),
    "second_lidar": (_other(_second_for), survey_of),
    "second_sparse": (_other(_second_for), _sparse),
    "terraces": (_other(terraced_fields), None),
    "terraces_lidar": (_other(terraced_fields), survey_of),
}
NAMES = tuple(_MAKERS)


def made_ground(name: str, seed: int, *, cell_m: float = 1.0) -> MadeGround:
    """A ground by name and seed, from the disk where it was made before.

    Parameters
    ----------
    name
        One of ``NAMES``.
    seed
        Of ``FITTING``, ``SCORING`` or ``HELD_BACK``. On the second ground its remainder by five
        picks the kind of land.
    cell_m
        Cell size (m): 0.5, 1, 2, 3 or 5; other than 1 only where lidar has passed. Truth, gullies
        and cut stay the same, at 1 m.
    """
    make, how = _MAKERS[name]
    if how is None and cell_m != 1.0:
        raise ValueError("grounds that no lidar has passed over have cells of 1 m")
    folder = kept_folder("grounds", Path(lidar.__file__).parent, Path(second.__file__).parent)
    path = folder / f"{name}_{seed}_{cell_m:g}.pickle"
    with contextlib.suppress(FileNotFoundError), open(path, "rb") as file:
        kept: MadeGround = pickle.load(file)
        return kept
    got = make(seed, how and how(seed), cell_m)
    made = replace(got, name=name)
    with tempfile.NamedTemporaryFile(dir=folder, delete=False) as part:
        pickle.dump(made, part, protocol=pickle.HIGHEST_PROTOCOL)
    os.replace(part.name, path)
    return made
