"""A stretch of an invented gully: a pair, one more dam and a head to refer. All is invented.

The plan of it is whole enough to be explained; the ground is a made-up raster of half a metre.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from affine import Affine

from cli.plan.fields import LAYERS, Units
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer, empty_layer, table
from cli.plan.plan_format import format_row
from cli.plan.unit_sentences import worded
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.example_plan import NORTH, UTM, WEST, footprint, oblong, texts
from tests.example_works import example_works

SIZE_M, CELL_M = (80.0, 100.0), 0.5
#: Metres below the upper edge: lip of the head, dam of its pair, next dam, the high head.
LIP, DAM, NEXT, HIGH = 42.0, 46.5, 60.0, 90.0
TN40 = "USDA NRCS Colorado, Range Technical Note 40"
GUIDES = "field guides"
RASTER = "elevation raster, cells of 0.5 m"


def middle_x(down_m: np.ndarray | float) -> np.ndarray | float:
    """Middle of the channel, metres from the left edge, so far below the upper edge."""
    return 40.0 + 5.0 * np.sin(np.asarray(down_m) / 16.0)


def stretch_raster() -> Raster:
    """A swale that is cut by a gully below its head; seeded."""
    rows, cols = int(SIZE_M[1] / CELL_M), int(SIZE_M[0] / CELL_M)
    y, x = np.mgrid[0:rows, 0:cols] * CELL_M + CELL_M / 2
    across = np.abs(x - middle_x(y))
    z = 1700.0 - 0.025 * y + 0.05 * across + 1.5 * (1 - np.exp(-((across / 22) ** 2)))
    cut = np.clip((y - LIP) / 0.6, 0, 1) * 0.9 * np.clip((4.0 - across) / 1.2, 0, 1)
    cut += np.clip((y - HIGH) / 0.8, 0, 1) * 1.5 * np.clip((3.4 - across) / 1.4, 0, 1)
    rough = np.random.default_rng(5).normal(0, 0.02, z.shape)
    grid = Grid(rows, cols, Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH), UTM)
    return Raster.from_array((z - cut + rough).astype(np.float32), grid=grid)


def _place(down_m: float) -> tuple[shapely.Point, float]:
    """Point in the channel and direction of its flow."""
    point = shapely.Point(WEST + float(middle_x(down_m)), NORTH - down_m)
    slope = 5.0 / 16.0 * np.cos(down_m / 16.0)
    return point, float(np.degrees(np.arctan2(slope, -1.0)) % 360)


def stretch_layers() -> dict[str, Layer]:
    """Layers of the plan by name."""
    places = [_place(d) for d in (LIP, DAM, NEXT, HIGH)]
    points = np.array([p for p, _ in places])
    azimuth = np.array([a for _, a in places])
    down = np.linspace(2, 98, 97)
    line = shapely.LineString(np.column_stack([WEST + middle_x(down), NORTH - down]))
    nan = np.nan
    sites = {
        "site_id": np.arange(1, 5),
        "work_id": np.array([1, 1, 2, 0]),
        "rank": np.array([1, 1, 2, 0]),
        "list_place": np.array([2, 1, 3, 4]),
        "structure": texts("rock bowl", "one-rock dam", "one-rock dam", "refer"),
        "control": texts("vertical", "grade", "grade", "refer"),
        "channel_id": np.array([7, 7, 7, 7]),
        "station_m": np.array([58.0, 53.5, 40.0, 10.0]),
        "elevation_m": np.array([1698.95, 1697.94, 1697.6, 1696.85]),
        "slope": np.array([0.025, 0.025, 0.025, 0.03]),
        "width_m": np.array([5.6, 5.6, 5.8, 4.1]),
        "depth_m": np.array([0.95, 0.95, 1.0, 2.4]),
        "width_source": texts(*["dem"] * 4),
        "bank_width_m": np.array([5.6, 5.6, 5.8, 4.1]),
        "bank_depth_m": np.array([0.95, 0.95, 1.0, 2.4]),
        "bankfull_width_m": np.array([2.4, 2.4, 2.5, 2.6]),
        "bankfull_depth_m": np.array([0.48, 0.48, 0.45, 0.5]),
        "headcut_height_m": np.array([0.9, nan, nan, 2.4]),
        "drainage_area_ha": np.array([3.2, 3.21, 3.4, 4.1]),
        "area_complete": np.array([True, True, True, True]),
        "q2_m3s": np.array([0.11, 0.11, 0.12, 0.15]),
        "q10_m3s": np.array([0.42, 0.42, 0.44, 0.52]),
        "flood_method": texts(*["unit_hydrograph"] * 4),
        "structure_height_m": np.array([nan, 0.16, 0.15, nan]),
        "structure_length_m": np.array([1.8, 1.5, 1.5, nan]),
        "pair_id": np.array([1, 1, 0, 0]),
        "build_order": np.array([2, 1, 1, 0]),
        "score": np.array([0.91, 0.91, 0.6, 0.3]),
        "confidence": np.array([0.93, 0.93, 0.8, 0.9]),
        "reason": texts(
            "A drop of 0.90 m eats into 120 m of grassed swale.",
            "Backs water to the foot of the drop 4.5 m above it.",
            "Holds the bed where the deposit of the dam below ends.",
            "A drop of 2.4 m is beyond hand work.",
        ),
        "caution": texts("Soil may pipe here: look for holes.", None, None, "Keep off the edge."),
        "flow_azimuth_deg": azimuth,
        "lon": np.array([-106.00012, -106.0001, -106.00008, -106.00002]),
        "lat": np.array([36.12345, 36.12341, 36.12329, 36.12302]),
        "setting": texts("swale", "incised channel", "incised channel", "incised channel"),
        "stage": np.array([2, 2, 2, 3]),
        "stage_confidence": np.array([0.6, 0.6, 0.5, 0.4]),
        "bankfull_source": texts("bench", "bench", "flow", "none"),
        "bankfull_low_m": np.array([0.41, 0.41, 0.4, nan]),
        "bankfull_high_m": np.array([0.55, 0.55, 0.6, nan]),
        "stone_d50_m": np.array([0.21, 0.16, 0.15, nan]),
        "stone_d100_m": np.array([0.31, 0.24, 0.22, nan]),
        "stone_heaviest_kg": np.array([41.3, 19.2, 14.8, nan]),
        "design_return_period_yr": np.array([10.0, 10.0, 10.0, 10.0]),
        "design_flow_m3s": np.array([0.42, 0.42, 0.44, 0.52]),
        "design_flow_low_m3s": np.array([0.25, 0.25, 0.26, 0.31]),
        "design_flow_high_m3s": np.array([0.7, 0.7, 0.73, 0.87]),
        "flow_range_from": texts(*["curve number 5 higher or lower"] * 4),
        "design_depth_m": np.array([0.21, 0.22, 0.22, 0.25]),
        "design_velocity_mps": np.array([1.1, 1.1, 1.1, 1.2]),
        "design_shear_pa": np.array([42.0, 43.0, 43.0, 55.0]),
        "design_froude": np.array([0.83, 0.83, 0.82, 0.85]),
        "spacing_m": np.array([nan, 13.5, nan, nan]),
        "spacing_rule": texts(None, "channel widths", None, None),
        "toe_depth_m": np.array([nan, 0.05, nan, nan]),
        "tailwater_toe_m": np.array([nan, 0.31, nan, nan]),
        "pool_area_m2": np.array([nan, 9.6, 14.0, nan]),
        "pool_volume_m3": np.array([nan, 0.77, 1.1, nan]),
        "wedge_length_m": np.array([nan, 4.5, 13.0, nan]),
        "wedge_volume_m3": np.array([nan, 1.4, 4.2, nan]),
        "retreat_m_per_yr": np.array([1.2, nan, nan, nan]),
        "swale_at_risk_m": np.array([120.0, nan, nan, nan]),
        "swale_at_risk_ha": np.array([0.31, nan, nan, nan]),
        "soil_at_risk_m3": np.array([610.0, nan, nan, nan]),
        "rewetted_m2": np.array([nan, 18.0, 25.0, nan]),
        "cost_low": np.array([600.0, 250.0, 250.0, nan]),
        "cost_likely": np.array([950.0, 400.0, 410.0, nan]),
        "cost_high": np.array([1500.0, 700.0, 720.0, nan]),
        "crew_days": np.array([3.0, 1.5, 1.5, nan]),
        "chosen": np.array([True, True, True, False]),
        "chosen_why": texts(None, None, None, "Needs an engineer."),
        "nearest_road_m": np.array([210.0, 212.0, 220.0, 230.0]),
    }
    left = [(0, -1.9), (2, -1.9), (2, -1.2), (0, -1.2)]
    parts = [
        (0, "rock bowl", "vertical", "floor", True, oblong(0.2, 2.0, 1.2)),
        (0, "rock bowl", "vertical", "left wall", False, left),
        (0, "rock bowl", "vertical", "right wall", False, [(a, -b) for a, b in left]),
        (1, "one-rock dam", "grade", "dam", True, oblong(0, 1.5, 1.7)),
        (1, "one-rock dam", "grade", "apron", False, oblong(1.5, 2.1, 1.4)),
        (2, "one-rock dam", "grade", "dam", True, oblong(0, 1.5, 1.8)),
        (2, "one-rock dam", "grade", "apron", False, oblong(1.5, 2.1, 1.5)),
    ]  # fmt: skip
    ponds = [
        (1, "wedge", oblong(-4.5, 0, 1.3), 5.9, 1.4, 0.16),
        (1, "pool", oblong(-4.4, 0, 1.1), 9.6, 0.77, 0.16),
        (2, "wedge", oblong(-13, 0, 1.3), 17.0, 4.2, 0.15),
        (2, "pool", oblong(-5.6, 0, 1.25), 14.0, 1.1, 0.15),
    ]
    crests = [(0, 0.0, 1.9), (1, 0.0, 1.7), (2, 0.0, 1.8)]
    heads = np.array([0, 3])
    ids = sites["site_id"]
    return {
        "ranch": empty_layer("ranch", UTM),
        "pools": Layer(
            "pools",
            np.array([footprint(*places[i], corners) for i, _, corners, *_ in ponds]),
            {
                "site_id": np.array([ids[p[0]] for p in ponds]),
                "kind": texts(*[p[1] for p in ponds]),
                "area_m2": np.array([p[3] for p in ponds]),
                "volume_m3": np.array([p[4] for p in ponds]),
                "depth_m": np.array([p[5] for p in ponds]),
            },
            UTM,
        ),
        "channels": Layer(
            "channels",
            np.array([line]),
            {
                "channel_id": np.array([7]),
                "downstream_id": np.array([0]),
                "stream_order": np.array([1]),
                "length_m": np.array([line.length]),
                "slope": np.array([0.035]),
                "drainage_area_ha": np.array([4.3]),
                "area_complete": np.array([True]),
            },
            UTM,
        ),
        "structures": Layer(
            "structures",
            np.array([footprint(*places[p[0]], p[5]) for p in parts]),
            {
                "site_id": np.array([ids[p[0]] for p in parts]),
                "structure": texts(*[p[1] for p in parts]),
                "control": texts(*[p[2] for p in parts]),
                "part": texts(*[p[3] for p in parts]),
                "is_body": np.array([p[4] for p in parts]),
            },
            UTM,
        ),
        "structure_lines": Layer(
            "structure_lines",
            np.array(
                [
                    shapely.LineString(
                        footprint(*places[i], [(at, -half), (at, half), (at + 1, 0)])
                        .exterior.coords[:2]
                    )
                    for i, at, half in crests
                ]
            ),
            {
                "site_id": np.array([ids[i] for i, _, _ in crests]),
                "crest_length_m": np.array([2 * half for _, _, half in crests]),
            },
            UTM,
        ),
        "headcuts": Layer(
            "headcuts",
            points[heads],
            {
                "headcut_id": np.array([1, 2]),
                "channel_id": np.array([7, 7]),
                "station_m": sites["station_m"][heads],
                "headcut_height_m": sites["headcut_height_m"][heads],
                "face_slope": np.array([1.2, 1.4]),
                "drainage_area_ha": sites["drainage_area_ha"][heads],
                "confidence": np.array([0.93, 0.9]),
                "flow_azimuth_deg": azimuth[heads],
                "site_id": np.array([1, 0]),
                "answer": texts("site", "unsure"),
                "why_no_site": texts(None, "Not sure enough: confidence 0.40, below 0.50."),
            },
            UTM,
        ),
        **example_works(sites, points, UTM),
        "sites": Layer("sites", points, sites, UTM),
    }  # fmt: skip


#: Site, part, subject, verdict, text, source, basis.
_REASONS = [
    (1, "measured", "drop", "", "The drop is 0.90 m high, give or take 0.09 m.",
     RASTER, "measured"),
    (1, "measured", "bankfull depth", "", "Bankfull depth is 0.48 m; three estimates lie "
     "between 0.41 m and 0.55 m.", "inner bench of the section", "measured"),
    (1, "measured", "bed slope", "", "The bed falls 2.5 %.", RASTER, ""),
    (1, "limits", "drop", "holds", "At most 1.2 m; here 0.99 m with its error.", TN40, "published"),
    (1, "limits", "approach slope", "holds", "At most 3 %; here 2.7 % with its error.", TN40,
     "published"),
    (1, "limits", "drainage area", "holds", "At most 16 ha; here 3.2 ha.",
     "no published figure for this structure", "common practice"),
    (1, "alternatives", "rock bowl", "chosen", "Rock is at hand; the drop is low enough.", "", ""),
    (1, "alternatives", "log drop", "not chosen", "The ranch has no logs.", "", ""),
    (1, "alternatives", "rock rundown", "not chosen", "The drop of 0.90 m is more than the 0.75 m "
     "that may be laid back.", GUIDES, "from memory"),
    (1, "sizes", "stone", "", "Stone of a bowl is sized as a chute; the largest weighs 41 kg.",
     "Robinson, Rice and Kadavy 1998", "published"),
    (1, "pair", "one-rock dam of site 2", "", "4.5 m below, five times the drop; its crest lies "
     "0.10 m above the foot.", GUIDES, "from memory"),
    (1, "benefit", "swale", "", "120 m of swale and 610 m3 of soil lie above the head.", "", ""),
    (1, "benefit", "retreat", "", "Left alone it may move about 1.2 m a year.", "SCS TR-32",
     "from memory"),
    (1, "flood", "design flood", "", "Sizes are made for the 10-year flood of 0.42 m3/s.",
     "NRCS unit hydrograph", "published"),
    (1, "bed", "what gives way first", "", "The bed below gives way first, bare silt.", "", ""),
    (1, "bed", "banks", "gives way", "The lower bank may fall after a flood.", "", ""),
    (1, "rank", "work", "", "First, for the swale above it.", "", ""),
    (2, "measured", "bed slope", "", "The bed falls 2.5 %.", RASTER, ""),
    (2, "limits", "height", "holds", "At most a third of bankfull depth, 0.16 m; here 0.16 m.",
     GUIDES, "from memory"),
    (2, "alternatives", "one-rock dam", "chosen", "It suits the slope and the stone.", "", ""),
    (2, "spacing", "range", "", "The rules say 6.4 to 21 m; channel widths are kept to.", "",
     "common practice"),
    (4, "measured", "drop", "", "The drop is 2.4 m high, give or take 0.24 m.",
     RASTER, "measured"),
    (4, "limits", "drop", "fails", "At most 1.2 m; here 2.6 m with its error.", TN40, "published"),
    (4, "alternatives", "refer", "chosen", "Nothing built by hand fits: ask an engineer.", "", ""),
]  # fmt: skip
_INSTRUCTIONS = [
    (1, 1, "build", "Build the dam of site 2 first."),
    (1, 2, "build", "Lay the floor of the bowl, the largest stones at its lower end."),
    (1, 3, "build", "Raise the walls to the lip, no stone above it; lift 41 kg with two people."),
    (1, 1, "fails", "Water finds a way behind the wall."),
    (1, 1, "inspect", "Wet holes beside the wall. Fill the gaps with gravel and grass."),
    (2, 1, "build", "Dig a trench of 0.15 m for the first row."),
]


def stretch_tables() -> list[Layer]:
    """Tables of the plan."""
    floods = [(2, 0.11, 0.12), (5, 0.26, 0.17), (10, 0.42, 0.21), (25, 0.66, 0.28),
              (50, 0.87, 0.33), (100, 1.1, 0.38)]  # fmt: skip
    counts: dict[int, int] = {}
    reasons = []
    for site, *rest in _REASONS:
        counts[site] = counts.get(site, 0) + 1
        reasons.append((site, counts[site], *rest))
    return [
        table(
            "floods",
            [
                (
                    1,
                    "unit_hydrograph",
                    10,
                    0.42,
                    0.25,
                    0.7,
                    "curve number 5 higher or lower",
                    0.12,
                    1.3,
                    True,
                    True,
                    None,
                    "NEH part 630",
                ),
                (
                    1,
                    "regional",
                    10,
                    2.1,
                    0.9,
                    5.0,
                    "one standard error of prediction",
                    np.nan,
                    np.nan,
                    False,
                    False,
                    None,
                    "a report",
                ),
            ],
        ),
        table(
            "hydraulics",
            [
                (site, t, q, d, 2.0 + 6 * d, 0.8 + 1.5 * d, 180 * d, 0.83, t >= 100)
                for site in (1, 2)
                for t, q, d in floods
            ],
        ),
        table(
            "spacings",
            [
                (2, "head to toe", 6.4, 6.4, False, "EPA and state manuals", "published", None),
                (2, "deposit wedge", 12.8, 21.3, False, "Leopold 1992", "published", "0.5 to 0.7"),
                (2, "channel widths", 12.0, 16.8, True, "riffle spacing", "common practice", None),
            ],
        ),
        table(
            "sizes",
            [
                (1, "length", 1.8, "m", None, "twice the drop"),
                (1, "crest", 3.8, "m", "Across, with both ends", None),
                (1, "largest stone", 0.31, "m", None, None),
                (1, "heaviest stone", 41.3, "kg", None, "two people to lift it"),
                (2, "height", 0.16, "m", None, "a third of bankfull depth"),
                (2, "length", 1.5, "m", None, None),
            ],
        ),
        table(
            "materials",
            [
                (1, "stone_large", "stone of 30 to 45 cm", 2.4, "t", 2.88, 0.3, "floor and walls"),
                (1, "gravel", "gravel with fines", 0.5, "m3", 0.6, 0.1, None),
                (2, "stone_medium", "stone of 20 to 30 cm", 1.3, "t", 1.56, 0.2, "dam"),
                (0, "stone_large", "stone of 30 to 45 cm", 2.4, "t", 2.88, 0.3, None),
            ],
        ),
        table(
            "costs",
            [
                (1, "stone", 2.88, "t", 90.0, 140.0, 230.0),
                (1, "crew", 3.0, "days", 510.0, 810.0, 1270.0),
                (2, "crew", 1.5, "days", 250.0, 400.0, 700.0),
            ],
        ),
        table("reasons", reasons),
        table("instructions", _INSTRUCTIONS),
        table(
            "before_you_build",
            [
                (1, "utilities", "Have buried lines marked before any digging."),
                (2, "permits", "Fill in all: 4.4 m3 over 24 m2. Ask which permits apply."),
            ],
        ),
        table(
            "run_info",
            [
                ("summary", "4 sites on an invented stretch."),
                ("dem", "stretch.tif, 128000 bytes, sha256 0"),
                ("setting: design_years", "10"),
                ("setting: crew_size", "4"),
                ("caution 1", "Every figure is invented."),
                format_row(),
            ],
        ),
    ]


def write_stretch(path: Path, units: Units = "si") -> Path:
    """Write the plan; what the stretch does not show is there and empty, as in any plan."""
    layers, tables = stretch_layers(), stretch_tables()
    given = {*layers, *(table.name for table in tables), "field_guide"}
    empty = [empty_layer(name, UTM) for name in LAYERS if name not in given]
    return write_geopackage(
        path,
        [
            *(worded(layer, units) for layer in layers.values()),
            *(layer for layer in empty if layer.geometry is not None),
        ],
        tables=[
            *(worded(table, units) for table in tables),
            *(table for table in empty if table.geometry is None),
        ],
        units=units,
    )
