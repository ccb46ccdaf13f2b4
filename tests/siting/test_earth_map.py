"""Soil of banks from a map: names, places, what is not known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import CRS

from siting.layout.measuring import BuildSettings
from siting.places.earth_map import EarthFile
from siting.places.spot import Earth
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from terrain.vectors.patches import MapError
from tests.siting.conftest import ground_of, gully_raster, sites_on

UTM = "EPSG:32613"


def written(folder: Path, *names: str | None, wide: float = 100.0) -> Path:
    """A map of strips from west to east, one for each name."""
    shapes = [shapely.box(wide * i, 0, wide * (i + 1), 400) for i in range(len(names))]
    path = folder / "soils.gpkg"
    values = np.empty(len(names), dtype=object)
    values[:] = names
    pyogrio.raw.write(
        path,
        np.array([shapely.to_wkb(s) for s in shapes], dtype=object),
        [values],
        ["texture"],
        geometry_type="Polygon",
        crs=UTM,
        layer="soils",
    )
    return path


def grid(crs: str | None = UTM) -> Grid:
    plain = Raster.from_array(np.zeros((40, 40), dtype=np.float32), cell_m=10.0).grid
    return replace(plain, crs=None if crs is None else CRS(crs))


def test_each_place_has_the_soil_of_its_patch(tmp_path: Path) -> None:
    path = written(tmp_path, "Gravelly sandy loam", "ML", "Badland", None)
    found = EarthFile(path, "Texture").read(grid())
    assert [found.soil_at(x, 200.0) for x in (50.0, 150.0, 250.0, 350.0, 900.0)] == [
        "SM", "ML", "", "", "",
    ]  # fmt: skip
    (note,) = found.notes
    assert note.startswith("soils.gpkg: 1 name is of no soil that is known (Badland): ")


def test_a_place_on_two_patches_takes_one_that_is_known(tmp_path: Path) -> None:
    found = EarthFile(written(tmp_path, "Water", "clay"), "texture").read(grid())
    assert found.soil_at(100.0, 200.0) == "CH"


@pytest.mark.parametrize(
    ("names", "field", "says"),
    [
        (("Badland", "Water"), "texture", "names no soil that is known"),
        ((None,), "texture", "it is empty"),
        (("clay",), "class", "no field 'class'"),
    ],
)
def test_a_map_that_tells_nothing_is_an_error(
    tmp_path: Path, names: tuple[str | None, ...], field: str, says: str
) -> None:
    with pytest.raises(MapError, match=says):
        EarthFile(written(tmp_path, *names), field).read(grid())


def test_a_map_needs_a_place(tmp_path: Path) -> None:
    with pytest.raises(MapError, match="place is not known"):
        EarthFile(written(tmp_path, "clay"), "texture").read(grid(None))


def test_sites_take_the_soil_where_they_stand(tmp_path: Path) -> None:
    raster = gully_raster(drop_m=0.8)
    earth = EarthFile(written(tmp_path, "silt loam", wide=500.0), "texture").read(grid())
    ground = ground_of(raster)
    for settings, symbol in (
        (BuildSettings(earth_map=earth), "ML"),
        (BuildSettings(earth=Earth("CL"), earth_map=earth), "CL"),
        (BuildSettings(), ""),
    ):
        sites, _ = sites_on(ground, settings)
        assert {site.spot.earth.soil for site in sites} == {symbol}
