"""The shaded ground in a plan: small, the same bytes each time, read back where it belongs."""

from __future__ import annotations

import contextlib
import hashlib
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio
from pyproj import CRS

from cli.plan.geopackage import write_geopackage
from cli.plan.layers import empty_layer
from cli.plan.relief import hillshade, relief_of
from cli.plan.relief_layer import MOST_PIXELS, ReliefPicture, read_relief, relief_picture
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.example_plan import UTM, example_layers, example_raster, example_tables
from tests.reading import read_layers

REPOSITORY = Path(__file__).parents[2]
RASTER = example_raster()
LAYERS_OF_PLAN = example_layers(RASTER)


@pytest.fixture(scope="module")
def picture() -> ReliefPicture:
    made = relief_picture(RASTER, LAYERS_OF_PLAN)
    assert made is not None
    return made


def write(path: Path, relief: ReliefPicture | None) -> Path:
    layers = list(LAYERS_OF_PLAN.values())
    return write_geopackage(path, layers, tables=example_tables(), relief=relief)


def test_it_covers_what_the_plan_holds_with_a_margin(picture: ReliefPicture) -> None:
    west, south, east, north = picture.grid.bounds
    for name in ("ranch", "sites", "drainage_areas"):
        for shape in LAYERS_OF_PLAN[name].geometry:
            a, b, c, d = shape.bounds
            at_edge = RASTER.grid.bounds
            assert west <= max(a, at_edge[0])
            assert south <= max(b, at_edge[1])
            assert east >= min(c, at_edge[2])
            assert north >= min(d, at_edge[3])
    assert picture.grid.size < RASTER.grid.size


def test_it_is_read_back_where_it_belongs(tmp_path: Path, picture: ReliefPicture) -> None:
    path = write(tmp_path / "plan: of 'ours'.gpkg", picture)
    back = read_relief(path)
    assert back is not None
    assert back.grid.crs == UTM
    assert back.grid.shape == picture.grid.shape
    assert back.grid.transform.almost_equals(picture.grid.transform)
    # The tiles are compressed with loss: shades stay, single grains of noise do not.
    assert np.abs(back.rgb.astype(int) - picture.rgb).mean() < 3.0
    with rasterio.open(path) as source:
        assert source.crs.to_epsg() == 32612
        assert source.count >= 3
        west, _, _, north = source.bounds
        assert (west, north) == pytest.approx((back.grid.bounds[0], back.grid.bounds[3]))


def test_it_is_the_ground_the_right_way_up(tmp_path: Path) -> None:
    """A hill in the north-east, lit from the north-west: its near side is brighter."""
    y, x = np.mgrid[0:300, 0:400].astype(np.float64)
    z = 40 * np.exp(-((x - 300) ** 2 + (y - 80) ** 2) / 1500)
    grid = Grid(300, 400, RASTER.grid.transform, UTM)
    raster = Raster.from_array(z.astype(np.float32), grid=grid)
    made = relief_picture(raster, {})
    assert made is not None
    back = read_relief(write(tmp_path / "plan.gpkg", made))
    assert back is not None
    bright, dark = back.rgb[60, 280].mean(), back.rgb[100, 320].mean()
    assert bright > dark + 20
    # Level ground has one tone below the hill and beside it; rims of tiles blur a little.
    assert np.ptp(back.rgb[200:-16, :-16, 0]) <= 4
    assert np.ptp(back.rgb[:-16, :150, 0]) <= 4


def test_a_plan_without_it_has_none(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg", None)
    assert read_relief(path) is None
    assert read_relief(tmp_path / "nothing.gpkg") is None


def test_a_raster_without_a_place_gives_no_picture() -> None:
    grid = Grid(RASTER.grid.rows, RASTER.grid.cols, RASTER.grid.transform, None)
    assert relief_picture(Raster.from_array(RASTER.elevation_m, grid=grid), {}) is None


def test_unknown_ground_is_white() -> None:
    z = RASTER.elevation_m.copy()
    z[100:300, 100:300] = np.nan
    made = relief_picture(Raster.from_array(z, grid=RASTER.grid), {})
    assert made is not None
    assert (made.rgb[150:250, 150:250] == 255).all()
    expected = hillshade(relief_of(RASTER, RASTER.grid.bounds, most_cells=MOST_PIXELS))
    assert np.abs(made.rgb[350:, 350:].astype(int) - expected[350:, 350:, :3]).mean() < 2


def test_it_keeps_within_its_size(tmp_path: Path) -> None:
    raster = example_raster(rows=1500, cols=4100)
    made = relief_picture(raster, {})
    assert made is not None
    assert max(made.grid.shape) <= MOST_PIXELS
    assert made.grid.bounds[2] == pytest.approx(raster.grid.bounds[2], abs=3.0)
    with contextlib.closing(sqlite3.connect(write(tmp_path / "plan.gpkg", made))) as db:
        (size,) = db.execute("SELECT sum(length(tile_data)) FROM relief").fetchone()
    assert size < 1_000_000


def test_the_same_ground_gives_the_same_bytes(tmp_path: Path, picture: ReliefPicture) -> None:
    first = write(tmp_path / "plan.gpkg", picture)
    code = (
        "import sys; from pathlib import Path;"
        "from tests.cli.test_relief_layer import *;"
        "write(Path(sys.argv[1]), relief_picture(RASTER, LAYERS_OF_PLAN))"
    )
    other = tmp_path / "again.gpkg"
    subprocess.run([sys.executable, "-c", code, str(other)], check=True, cwd=REPOSITORY)
    digests = {hashlib.sha256(p.read_bytes()).hexdigest() for p in (first, other)}
    assert len(digests) == 1


@pytest.mark.parametrize(
    "crs",
    [
        CRS.from_proj4("+proj=laea +lat_0=40 +lon_0=-110 +units=m +datum=WGS84"),
        CRS.from_epsg(5070),
        CRS.from_wkt('LOCAL_CS["site grid",UNIT["metre",1]]'),
    ],
    ids=["own", "albers", "local"],
)
def test_any_coordinate_system_of_a_plan_will_do(tmp_path: Path, crs: CRS) -> None:
    grid = Grid(RASTER.grid.rows, RASTER.grid.cols, RASTER.grid.transform, crs)
    made = relief_picture(Raster.from_array(RASTER.elevation_m, grid=grid), {})
    path = write_geopackage(tmp_path / "plan.gpkg", [empty_layer("sites", crs)], relief=made)
    back = read_relief(path)
    assert back is not None
    assert back.grid.crs == crs
    assert read_layers(path)["sites"].crs == crs
