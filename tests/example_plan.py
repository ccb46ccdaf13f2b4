"""A small invented plan on an invented slope, for tests of what is written."""

from __future__ import annotations

import functools
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
from affine import Affine
from pyproj import CRS

from cli.plan.fields import LAYERS, Field, Units, fields_of
from cli.plan.fields_structures import SITE_FIELDS
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer, table
from cli.plan.plan_format import format_row
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.example_works import example_works

UTM = CRS.from_epsg(32612)
WEST, NORTH = 500_000.0, 4_000_000.0
NAMES = ("Rock \"bowl\" 'A'", "وعاء صخري", "One-rock dam 🪨", "Log mat; très bas", "", "Refer")


def texts(*values: str | None) -> np.ndarray:
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out


def example_raster(*, rows: int = 500, cols: int = 600, cell_m: float = 1.0) -> Raster:
    """Two valleys that join, with some roughness; seeded."""
    rng = np.random.default_rng(7)
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float32)
    y, x = y / rows, x / cols
    middle = 0.5 + 0.06 * np.sin(7 * y)
    side = 0.5 + 0.55 * (0.62 - y)
    main = np.minimum(np.abs(x - middle), 0.35)
    branch = np.where(y < 0.62, np.minimum(np.abs(x - side), 0.3), 0.3)
    hills = 14 * (1 - np.exp(-((np.minimum(main, branch) / 0.12) ** 2)))
    rough = rng.normal(0, 1, (rows // 10 + 2, cols // 10 + 2))
    rough = np.kron(rough, np.ones((10, 10)))[:rows, :cols]  # type: ignore[assignment]
    kernel = np.ones(15) / 15
    for axis in (0, 1):
        rough = np.apply_along_axis(np.convolve, axis, rough, kernel, "same")
    z = 1500 + 22 * (1 - y) + hills + 1.2 * rough
    grid = Grid(rows, cols, Affine(cell_m, 0, WEST, 0, -cell_m, NORTH), UTM)
    return Raster.from_array(z.astype(np.float32), grid=grid)


def footprint(
    point: shapely.Point, azimuth_deg: float, corners: Sequence[tuple[float, float]]
) -> shapely.Polygon:
    """Polygon from corners given as metres downstream of a point and to the right of the flow."""
    a = np.radians(azimuth_deg)
    return shapely.Polygon(
        [
            (
                point.x + along * np.sin(a) + across * np.cos(a),
                point.y + along * np.cos(a) - across * np.sin(a),
            )
            for along, across in corners
        ]
    )


def oblong(start: float, stop: float, half: float) -> list[tuple[float, float]]:
    """Corners of an oblong from so far downstream to so far, and so wide to either side."""
    return [(start, -half), (stop, -half), (stop, half), (start, half)]


def _invented(field: Field, rows: int) -> np.ndarray:
    """Values that a field may hold, different from row to row."""
    if field.name == "unit":
        return texts(*np.resize(["m", "t", "pieces", "kg", "m2", None], rows))
    if field.codes:
        codes = np.resize([code for code, _ in field.codes], rows)
        return codes.astype(np.int64) if field.kind == "int" else texts(*codes)
    if field.kind == "float":
        return np.append(np.round(np.linspace(0.25, 40.0, rows - 1), field.decimals), np.nan)
    if field.kind == "int":
        return np.arange(1, rows + 1)
    if field.kind == "bool":
        return np.arange(rows) % 2 == 0
    return texts(None, *[f"Invented {field.name} {i}, 'so' 🪵" for i in range(1, rows)])


def _filled(layer: str, rows: int = 6) -> dict[str, np.ndarray]:
    return {field.name: _invented(field, rows) for field in fields_of(layer)}


def _at(raster: Raster, x: float, y: float) -> tuple[float, float]:
    """Place given as a share of the raster's width and height from the upper left."""
    west, south, east, north = raster.grid.bounds
    return west + x * (east - west), north - y * (north - south)


def _channels(raster: Raster) -> Layer:
    def line(xs: np.ndarray, ys: np.ndarray) -> shapely.LineString:
        return shapely.LineString([_at(raster, x, y) for x, y in zip(xs, ys, strict=True)])

    upper = np.linspace(0.04, 0.6, 60)
    lower = np.linspace(0.6, 0.99, 50)
    lines = [
        line(0.5 + 0.06 * np.sin(7 * upper), upper),
        line(0.5 + 0.55 * (0.62 - upper), upper),
        line(0.5 + 0.06 * np.sin(7 * lower), lower),
    ]
    lines[1] = shapely.LineString([*lines[1].coords[:-1], lines[2].coords[0]])
    shapes = np.array(lines, dtype=object)
    return Layer(
        "channels",
        shapes,
        {
            "channel_id": np.array([1, 2, 3]),
            "downstream_id": np.array([3, 3, 0]),
            "stream_order": np.array([1, 1, 2]),
            "length_m": shapely.length(shapes),
            "slope": np.array([0.041, 0.052, 0.021]),
            "drainage_area_ha": np.array([4.0, 11.0, 160.0]),
            "area_complete": np.array([True, False, True]),
        },
        UTM,
    )


def _look_first(raster: Raster) -> Layer:
    """One reach that may be filling again."""
    line = shapely.LineString([_at(raster, *at) for at in ((0.62, 0.3), (0.66, 0.34), (0.7, 0.36))])
    columns = {
        "look_id": np.array([1]),
        "channel_id": np.array([1]),
        "station_m": np.array([12.0]),
        "length_m": np.array([41.0]),
        "stage": np.array([4]),
        "stage_confidence": np.array([0.5]),
        "evidence": texts("7 of 9 sections show a bench, 0.35 m above the bed."),
        "lon": np.array([-110.995]),
        "lat": np.array([36.133]),
    }
    return Layer("look_first", np.array([line], dtype=object), columns, UTM)


def _gullies(raster: Raster) -> Layer:
    """Two gullies, one of them hardly to be told."""
    shapes = []
    for east, north in ((0.45, 0.3), (0.7, 0.7)):
        line = shapely.LineString([_at(raster, east, north), _at(raster, east + 0.06, north + 0.2)])
        shapes.append(shapely.MultiPolygon([line.buffer(3.0)]))
    columns = {
        "gully_id": np.array([1, 2]),
        "channel_id": np.array([1, 3]),
        "area_m2": shapely.area(shapes),
        "length_m": np.array([41.0, 38.0]),
        "mean_width_m": np.array([6.0, 5.5]),
        "greatest_width_m": np.array([7.1, 6.0]),
        "mean_depth_m": np.array([0.8, 0.4]),
        "greatest_depth_m": np.array([1.6, 0.7]),
        "void_m3": np.array([210.0, 80.0]),
        "void_low_m3": np.array([160.0, 40.0]),
        "void_high_m3": np.array([260.0, 130.0]),
        "heads": np.array([1, 0]),
        "head_ids": texts("1", None),
        "maybe_ditch": np.array([False, True]),
        "confidence": np.array([0.9, 0.3]),
    }
    return Layer("gullies", np.array(shapes, dtype=object), columns, UTM)


def _roads(raster: Raster) -> np.ndarray:
    ways = [[(0.1, 0.08), (0.3, 0.45), (0.28, 0.95)], [(0.3, 0.45), (0.85, 0.6)]]
    lines = [shapely.LineString([_at(raster, *at) for at in way]) for way in ways]
    return np.array(lines, dtype=object)


def example_layers(raster: Raster | None = None) -> dict[str, Layer]:
    """Every layer of a plan."""
    raster = example_raster() if raster is None else raster
    channels = _channels(raster)
    lines = channels.geometry
    assert lines is not None
    shares = [(0, 0.25), (1, 0.35), (2, 0.15), (2, 0.55), (0, 0.7), (1, 0.75)]
    points = np.array(
        [shapely.line_interpolate_point(lines[i], t, normalized=True) for i, t in shares]
    )
    azimuth = np.array([_azimuth_deg(lines[i], t) for i, t in shares])
    n = len(points)
    controls = texts("vertical", "spread", "grade", "grade", "vertical", "refer")
    crests = np.array(
        [
            shapely.LineString(
                [(p.x + 6 * s * np.cos(a), p.y - 6 * s * np.sin(a)) for s in (-1.0, 1.0)]
            )
            for p, a in zip(points, np.radians(azimuth), strict=True)
        ]
    )
    sites = {
        "site_id": np.arange(1, n + 1),
        "work_id": np.array([1, 2, 3, 4, 5, 0]),
        "rank": np.array([2, 4, 3, 5, 1, 0]),
        "list_place": np.array([2, 4, 3, 5, 1, 6]),
        "build_order": np.array([1, 1, 1, 1, 1, 0]),
        "structure": texts(*NAMES),
        "control": controls,
        "channel_id": np.array([i + 1 for i, _ in shares]),
        "station_m": np.linspace(20, 340, n),
        "elevation_m": np.linspace(1500, 1520, n),
        "slope": np.array([0.03, 0.012, 0.021, 0.024, 0.04, 0.05]),
        "width_m": np.array([3.1, np.nan, 5.25, 4.0, 2.2, 8.0]),
        "depth_m": np.array([0.9, np.nan, 0.6, 0.7, 0.8, 2.5]),
        "width_source": texts("dem", None, "dem", "curve", "dem", "dem"),
        "headcut_height_m": np.array([0.9, np.nan, np.nan, np.nan, 1.1, 2.6]),
        "drainage_area_ha": np.array([2.5, 8.25, 130.0, 150.0, 3.4, 10.0]),
        "area_complete": np.array([True, False, True, True, True, False]),
        "q2_m3s": np.array([0.05, 0.1, 0.9, 1.0, 0.07, 0.12]),
        "q10_m3s": np.array([0.21, 0.4, 3.456, 3.7, 0.3, np.nan]),
        "flood_method": texts(*["graphical"] * n),
        "score": np.array([0.82, 0.5, 0.7, 0.44, 0.91, 0.2]),
        "confidence": np.array([0.9, 0.4, 0.75, 0.45, 0.95, 0.8]),
        "reason": texts(
            "A drop of 1.1 m moves up a valley that is still whole.", *["Because 'so' 🙂 שלום"] * 5
        ),
        "caution": texts(None, "Area cut by the raster's edge.", None, None, None, "Ask."),
        "flow_azimuth_deg": azimuth,
        "lon": np.linspace(-111.0, -110.99, n),
        "lat": np.linspace(36.13, 36.14, n),
    }
    sites |= {
        field.name: _invented(field, n) for field in fields_of("sites") if field in SITE_FIELDS
    }
    sides = [shapely.multipolygons([footprint(p, a, oblong(0, 12, 8))])
             for p, a in zip(points, azimuth, strict=True)]  # fmt: skip
    water = [footprint(p, a, oblong(-9, 0, 1.5)) for p, a in zip(points, azimuth, strict=True)]
    heads = np.array([0, 4, 5])
    west, south, east, north = raster.grid.bounds
    pad = 0.06 * (east - west)
    ranch = shapely.box(west + pad, south + pad, east - 2 * pad, north - pad)
    areas = np.array([p.buffer(40 + 10 * i) for i, p in enumerate(points)])
    ids = sites["site_id"]
    return {
        "ranch": Layer(
            "ranch",
            np.array([ranch]),
            {"name": texts("Invented Ranch"), "area_ha": np.array([ranch.area / 1e4])},
            UTM,
        ),
        "drainage_areas": Layer(
            "drainage_areas",
            areas,
            {"site_id": ids, "drainage_area_ha": shapely.area(areas) / 1e4},
            UTM,
        ),
        "look_first": _look_first(raster),
        "gullies": _gullies(raster),
        "roads": Layer("roads", _roads(raster), {"name": texts("Invented lane", None)}, UTM),
        "pools": Layer("pools", np.array(water), _filled("pools") | {"site_id": ids}, UTM),
        "channels": channels,
        "cross_sections": Layer(
            "cross_sections",
            crests,
            {
                "section_id": ids,
                "channel_id": sites["channel_id"],
                "station_m": sites["station_m"],
                "width_m": sites["width_m"],
                "depth_m": sites["depth_m"],
            },
            UTM,
        ),
        "structures": Layer(
            "structures",
            np.array(sides),
            {
                "site_id": ids,
                "structure": sites["structure"],
                "control": controls,
                "part": texts("bowl", "apron", "dam", "left key", "bowl", "wall"),
                "is_body": np.array([True, False, True, False, True, True]),
            },
            UTM,
        ),
        "structure_lines": Layer(
            "structure_lines", crests, {"site_id": ids, "crest_length_m": np.full(n, 12.0)}, UTM
        ),
        "headcuts": Layer(
            "headcuts",
            points[heads],
            {
                "headcut_id": np.array([1, 2, 3]),
                "channel_id": sites["channel_id"][heads],
                "station_m": sites["station_m"][heads],
                "headcut_height_m": sites["headcut_height_m"][heads],
                "face_slope": np.array([0.9, 1.2, 0.7]),
                "drainage_area_ha": sites["drainage_area_ha"][heads],
                "confidence": np.array([0.9, 0.4, 0.8]),
                "evidence": texts("Deeper below than above.", "Sharp edge.", None),
                "flow_azimuth_deg": azimuth[heads],
            },
            UTM,
        ),
        **example_works(sites, points, UTM),
        "sites": Layer("sites", points, sites, UTM),
        "field_notes": Layer("field_notes", points, _filled("field_notes") | {"site_id": ids}, UTM),
    }


def example_tables() -> list[Layer]:
    """Tables of a plan."""
    n = 3
    floods = Layer(
        "floods",
        None,
        {
            "site_id": np.array([1, 1, 2]),
            "method": texts("graphical", "regional", "graphical"),
            "return_period_yr": np.array([10, 10, 10]),
            "q_m3s": np.array([0.21, np.nan, 0.4]),
            "low_m3s": np.array([0.15, np.nan, np.nan]),
            "high_m3s": np.array([0.3, np.nan, np.nan]),
            "limits_met": np.array([True, False, True]),
            "used": np.array([True, False, True]),
            "note": texts(None, "No region was given.", None),
            "source": texts(*["TR-55"] * n),
        },
    )
    inputs = Layer(
        "flood_inputs",
        None,
        {
            "site_id": np.array([1, 2]),
            "drainage_area_ha": np.array([2.5, 8.25]),
            "area_complete": np.array([True, False]),
            "curve_number": np.array([80.0, 74.5]),
            "curve_area_m2": np.array([0.2, 0.4]),
            "radius_source": texts("dem", "curve"),
        },
    )
    rain = Layer(
        "rainfall",
        None,
        {
            "duration_h": np.array([1.0, 24.0]),
            "return_period_yr": np.array([10.0, 10.0]),
            "depth_mm": np.array([25.4, 50.8]),
            "source": texts("invented", "invented"),
        },
    )
    made = [floods, inputs, rain, _run_info()]
    others = {n for n, spec in LAYERS.items() if spec.geometry is None} - {"field_guide"}
    others -= {layer.name for layer in made}
    return [*made, *(Layer(n, None, _filled(n)) for n in LAYERS if n in others)]


def _azimuth_deg(line: shapely.LineString, share: float) -> float:
    """Direction of a line at a share of its length, over 10 m on both sides."""
    at = share * line.length
    a, b = (line.interpolate(np.clip(at + s, 0.0, line.length)) for s in (-10.0, 10.0))
    return float(np.degrees(np.arctan2(b.x - a.x, b.y - a.y)) % 360.0)


def _run_info() -> Layer:
    return table("run_info", [("title", 'An "invented" run'), ("cells", "300000"), format_row()])


def example_plan_file(path: Path, units: Units = "si") -> Path:
    """Put the whole plan at a path: written once, since the same input gives the same bytes."""
    path.write_bytes(_plan_bytes(units))
    return path


@functools.cache
def _plan_bytes(units: Units) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.gpkg"
        layers = list(example_layers().values())
        return write_geopackage(path, layers, tables=example_tables(), units=units).read_bytes()
