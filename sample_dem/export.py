"""Write the ranch as files a planner would be given: DEM, layers, rainfall, truth."""

from __future__ import annotations

import json
import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.features import shapes
from rasterio.shutil import copy as copy_raster
from scipy import ndimage
from shapely.geometry import LineString, Point, Polygon, shape

from sample_dem.generator import NORTH_M, WEST_M, Ranch
from sample_dem.noise import smooth_noise

PLACE = "Dry Lantern Ranch"
BLOCK_M = 10.0
DURATIONS = (
    ("5-min", 0.14),
    ("10-min", 0.21),
    ("15-min", 0.26),
    ("30-min", 0.36),
    ("60-min", 0.45),
    ("2-hr", 0.54),
    ("3-hr", 0.60),
    ("6-hr", 0.72),
    ("12-hr", 0.86),
    ("24-hr", 1.0),
    ("2-day", 1.15),
    ("3-day", 1.24),
    ("4-day", 1.33),
    ("7-day", 1.56),
    ("10-day", 1.77),
    ("20-day", 2.35),
    ("30-day", 2.85),
    ("45-day", 3.48),
    ("60-day", 4.05),
)
# Invented 24-hour depths (inches) by average recurrence interval (years).
DAY_DEPTHS_IN = {
    1: 1.27,
    2: 1.60,
    5: 2.08,
    10: 2.49,
    25: 3.07,
    50: 3.53,
    100: 4.03,
    200: 4.56,
    500: 5.31,
    1000: 5.92,
}


def write_dem(path: Path, elevation: NDArray[np.float32], ranch: Ranch) -> None:
    """Write a cloud-optimised GeoTIFF rounded to the centimetre."""
    rounded = np.round(elevation.astype(np.float64), 2).astype(np.float32)
    profile = {
        "driver": "GTiff",
        "height": rounded.shape[0],
        "width": rounded.shape[1],
        "count": 1,
        "dtype": "float32",
        "crs": ranch.crs,
        "transform": ranch.transform,
        "nodata": -9999.0,
    }
    with rasterio.MemoryFile() as memory:
        with memory.open(**profile) as plain:
            plain.write(rounded, 1)
            plain.set_band_description(1, "invented ground elevation, metres")
        with memory.open() as plain:
            copy_raster(
                plain,
                path,
                driver="COG",
                compress="DEFLATE",
                predictor="FLOATING_POINT",
                level=9,
                blocksize=256,
                overviews="NONE",
            )


def rainfall_csv() -> str:
    """Invented depths in the layout of a published point precipitation table."""
    years = list(DAY_DEPTHS_IN)
    lines = [
        "Point precipitation frequency estimates (inches)",
        "Invented table in the layout of NOAA Atlas 14 point files",
        "Data type: Precipitation depth",
        "Time series type: Partial duration",
        "Project area: Invented",
        f"Location name (ESRI Maps): Invented - {PLACE}",
        "Station Name: None",
        "Latitude: 37.4 Degree",
        "Longitude: -104.55 Degree",
        "Elevation (USGS): None None",
        "",
        "",
        "PRECIPITATION FREQUENCY ESTIMATES",
        "by duration for ARI (years):, " + ",".join(str(y) for y in years),
    ]
    for name, share in DURATIONS:
        # Short storms gain more with rarity than long ones.
        lean = 0.06 * np.log10(1 / share) if share < 1 else -0.05 * np.log10(share)
        row = [DAY_DEPTHS_IN[y] * share * (1 + lean * np.log10(y)) for y in years]
        lines.append(f"{name}:, " + ",".join(_three_figures(v) for v in row))
    return "\n".join([*lines, "", "Date/time (GMT):  invented", ""])


def _three_figures(value: float) -> str:
    digits = 3 if value < 1 else (2 if value < 10 else 1)
    return f"{value:.{digits}f}"


def boundary(ranch: Ranch) -> Polygon:
    """The ranch: a fenced block with a few corners, smaller than the raster."""
    rows, cols = ranch.clean.shape
    cell = ranch.transform.a
    corners = [
        (0.09, 0.08),
        (0.55, 0.06),
        (0.56, 0.12),
        (0.92, 0.12),
        (0.91, 0.62),
        (0.83, 0.90),
        (0.40, 0.93),
        (0.40, 0.86),
        (0.12, 0.87),
    ]
    return Polygon([(WEST_M + x * cols * cell, NORTH_M - y * rows * cell) for x, y in corners])


def _blocks(
    classes: NDArray[np.int16], ranch: Ranch, step: int, names: dict[int, dict[str, object]]
) -> gpd.GeoDataFrame:
    coarse = ranch.transform * ranch.transform.scale(step, step)
    rows = []
    for geometry, value in shapes(classes, transform=coarse, connectivity=4):
        rows.append({**names[int(value)], "geometry": shape(geometry)})
    frame = gpd.GeoDataFrame(rows, crs=ranch.crs)
    keys = list(next(iter(names.values())))
    return frame.dissolve(by=keys, as_index=False).explode(ignore_index=True)


def soils_and_cover(ranch: Ranch) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Soil and cover polygons that follow the valleys and ridges."""
    cell = ranch.transform.a
    step = max(int(BLOCK_M / cell), 1)
    rows, cols = (n // step for n in ranch.clean.shape)
    z = ranch.clean[: rows * step, : cols * step].reshape(rows, step, cols, step).mean(axis=(1, 3))
    rng = np.random.default_rng([ranch.seed, 2])
    patch = smooth_noise(rng, rows, cols, step * cell, 320.0)
    patch2 = smooth_noise(rng, rows, cols, step * cell, 220.0)
    rise = z - ndimage.gaussian_filter(z, 130 / step / cell)
    distance = np.full((rows, cols), True)
    wet = np.full((rows, cols), True)
    for plan in ranch.plans:
        r = np.clip((plan.line.y / cell / step).astype(int), 0, rows - 1)
        c = np.clip((plan.line.x / cell / step).astype(int), 0, cols - 1)
        distance[r, c] = False
        big = plan.line.area_ha > 12
        wet[r[big], c[big]] = False
    off = ndimage.distance_transform_edt(distance) * step * cell
    off_big = ndimage.distance_transform_edt(wet) * step * cell
    soil = np.where(rise > 1.2 + patch, 2, 1).astype(np.int16)
    soil[patch2 > 1.0] = 5
    soil[off < 22 + 6 * patch2] = 3
    soil[off_big < 30 + 8 * patch] = 4
    soil = ndimage.median_filter(soil, 5)
    cover = np.where(patch + 0.5 * rise > 0.6, 52, 71).astype(np.int16)
    cover[(rise > 3.0) & (patch2 > 0.3)] = 42
    cover[(patch2 < -1.7)] = 31
    cover[off_big < 16] = 95
    cover = ndimage.median_filter(cover, 5)
    if ranch.pond is not None:
        cells = ranch.pond[1]
        r, c = cells // ranch.clean.shape[1] // step, cells % ranch.clean.shape[1] // step
        cover[np.clip(r, 0, rows - 1), np.clip(c, 0, cols - 1)] = 11
    soil_names = {
        1: {"map_unit": "Lantern loam", "hydrologic_group": "B"},
        2: {"map_unit": "Cinder Bench gravelly loam", "hydrologic_group": "C"},
        3: {"map_unit": "Sorrel clay loam", "hydrologic_group": "C"},
        4: {"map_unit": "Wick bottom clay", "hydrologic_group": "C/D"},
        5: {"map_unit": "Tallow rock outcrop complex", "hydrologic_group": "D"},
    }
    cover_names = {
        11: {"code": 11, "cover": "open water"},
        31: {"code": 31, "cover": "barren land"},
        42: {"code": 42, "cover": "evergreen forest"},
        52: {"code": 52, "cover": "shrub/scrub"},
        71: {"code": 71, "cover": "grassland/herbaceous"},
        95: {"code": 95, "cover": "emergent herbaceous wetland"},
    }
    return _blocks(soil, ranch, step, soil_names), _blocks(cover, ranch, step, cover_names)  # type: ignore[arg-type]


def _layers(ranch: Ranch) -> dict[str, gpd.GeoDataFrame]:
    told = ranch.truth
    fence = boundary(ranch)
    soils, cover = soils_and_cover(ranch)
    layers = {
        "boundary": gpd.GeoDataFrame(
            {"name": [f"{PLACE} (invented)"]}, geometry=[fence], crs=ranch.crs
        )
    }
    if ranch.road is not None:
        line = LineString(np.column_stack([WEST_M + ranch.road.x, NORTH_M - ranch.road.y]))
        layers["roads"] = gpd.GeoDataFrame(
            {"kind": ["two-track"], "width_m": [4.0]}, geometry=[line], crs=ranch.crs
        )
    layers["soils"], layers["cover"] = soils, cover
    inside = fence.representative_point()
    site = Point(inside.x + 60, inside.y - 40)
    layers["keep_clear"] = gpd.GeoDataFrame(
        {"reason": ["old corrals and a well", "buried water line"]},
        geometry=[
            site.buffer(28, quad_segs=4),
            LineString(
                [(fence.bounds[0] + 40, inside.y + 130), (fence.bounds[2] - 60, inside.y + 175)]
            ).buffer(4),
        ],
        crs=ranch.crs,
    )
    heads = gpd.GeoDataFrame(
        told["headcuts"],
        crs=ranch.crs,
        geometry=gpd.points_from_xy(
            [h["x"] for h in told["headcuts"]], [h["y"] for h in told["headcuts"]]
        ),
    )
    heads["pairable"] = [
        "yes" if v is True else "no" if v is False else "measure on site" for v in heads["pairable"]
    ]
    for name in ("bankfull_depth_m", "control_height_needed_m", "slope_below"):
        heads[name] = heads[name].astype(float)
    layers["truth_headcuts"] = heads
    layers["truth_channels"] = gpd.GeoDataFrame(
        {
            "channel": [c["channel"] for c in told["channels"]],
            "length_m": [c["length_m"] for c in told["channels"]],
            "settings": [
                ", ".join(dict.fromkeys(r["setting"] for r in c["reaches"]))
                for c in told["channels"]
            ],
        },
        geometry=[LineString(np.column_stack([c["x"], c["y"]])[::-1]) for c in told["channels"]],
        crs=ranch.crs,
    )
    decoys = told["decoys"] + [d for d in (told["road_fill"], told["stock_pond"]) if d]
    layers["truth_decoys"] = gpd.GeoDataFrame(
        {"kind": [d["kind"] for d in decoys], "note": [d["note"] for d in decoys]},
        geometry=[Point(d["x"], d["y"]) for d in decoys],
        crs=ranch.crs,
    )
    return layers


def write_ranch(ranch: Ranch, folder: Path) -> list[Path]:
    """Write every file of the ranch into ``folder``; returns the paths written."""
    folder.mkdir(parents=True, exist_ok=True)
    dem, package, rain, truth = (
        folder / n for n in ("ranch_dem.tif", "ranch.gpkg", "rainfall.csv", "truth.json")
    )
    fence = folder / "boundary.geojson"
    write_dem(dem, ranch.elevation, ranch)
    os.environ["OGR_CURRENT_DATE"] = "2024-01-01T00:00:00Z"  # the same bytes each time
    for old in (package, fence):
        old.unlink(missing_ok=True)
    layers = _layers(ranch)
    for name, frame in layers.items():
        frame.to_file(package, layer=name, driver="GPKG", engine="pyogrio", VERSION="1.3")
    layers["boundary"].to_crs("EPSG:4326").to_file(fence, driver="GeoJSON", engine="pyogrio")
    rain.write_text(rainfall_csv(), encoding="utf-8")
    truth.write_text(
        json.dumps(ranch.truth, separators=(",", ":"))
        .replace('{"id"', '\n{"id"')
        .replace('{"channel"', '\n{"channel"')
        + "\n",
        encoding="utf-8",
    )
    return [dem, package, fence, rain, truth]
