"""Features of the plan as arrays: geometries and SI columns named as in the field table."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from siting.channels.ground import Ground
from siting.channels.reach_settings import SWALES
from siting.channels.reaches import section_lines
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.layout.healing import HealingReach
from siting.layout.keep_clear import KeepClear
from siting.sites import Sites
from siting.values.columns import Columns, FeatureTable, shapes_of, texts_of
from terrain.channels.network import ChannelNetwork
from terrain.values.arrays import BoolArray, FloatArray, IntArray
from terrain.values.parallel import over_items
from terrain.values.raster import Raster


def lon_lat(crs: CRS | None, x_m: FloatArray, y_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude of places, WGS 84; NaN without a coordinate system."""
    if crs is None or not x_m.size:
        return np.full(x_m.shape, np.nan), np.full(x_m.shape, np.nan)
    to_degrees = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    # As lists: pyproj takes an array of one place for a number.
    lon, lat = np.array(to_degrees.transform(x_m.tolist(), y_m.tolist()))
    known = np.isfinite(lon) & np.isfinite(lat)
    return np.where(known, lon, np.nan), np.where(known, lat, np.nan)


def channel_table(
    raster: Raster,
    network: ChannelNetwork,
    is_cut: Callable[[IntArray], BoolArray],
    *,
    shown: BoolArray | None = None,
    more: Columns | None = None,
) -> FeatureTable:
    """Reaches as lines, digitised downstream.

    Parameters
    ----------
    raster
        Ground as measured: slopes are its drop over the length.
    network
        Channels.
    is_cut
        Says of cells whether the raster's edge or a hole cuts their drainage area.
    shown
        Which reaches to take; all by default.
    more
        Further columns of those.
    """
    keep = np.arange(network.size) if shown is None else np.flatnonzero(shown)
    bed = raster.elevation_m.reshape(-1)
    first = network.line_cells[network.line_start]
    end = network.line_cells[network.line_end - 1]
    # where a reach ends at a junction, its own last cell is the one above it
    own_end = network.line_cells[network.line_end - np.where(network.downstream >= 0, 2, 1)]
    length = network.length_m
    drop = bed[first].astype(np.float64) - bed[end]
    return FeatureTable(
        shapes_of(list(network.lines()[keep])),
        {
            "channel_id": keep + 1,
            "downstream_id": network.downstream[keep] + 1,
            "stream_order": network.order[keep].astype(np.int64),
            "length_m": length[keep],
            "slope": (drop / np.maximum(length, 1e-9))[keep],
            "drainage_area_ha": network.drainage_area_ha[keep],
            "area_complete": ~is_cut(own_end[keep]),
            **(more or {}),
        },
    )


def headcut_table(
    ground: Ground, keep: IntArray, sections: Sections, *, more: Columns | None = None
) -> FeatureTable:
    """Headcuts as points at their lips; ``more`` columns say what became of them."""
    heads = ground.headcuts
    lon, lat = lon_lat(ground.raster.grid.crs, heads.x_m[keep], heads.y_m[keep])
    return FeatureTable(
        _points(heads.x_m[keep], heads.y_m[keep]),
        {
            "headcut_id": np.arange(1, keep.size + 1),
            "channel_id": heads.reach[keep] + 1,
            "station_m": heads.station_m[keep],
            "headcut_height_m": heads.headcut_height_m[keep],
            "face_slope": heads.face_slope[keep],
            "drainage_area_ha": heads.drainage_area_ha[keep],
            "confidence": heads.confidence[keep],
            "width_m": sections.width_m,
            "depth_m": sections.depth_m,
            "kind": texts_of(["side" if s else "channel" for s in heads.is_side[keep]]),
            "evidence": texts_of(list(heads.evidence[keep])),
            "flow_azimuth_deg": sections.azimuth_deg,
            "lon": lon,
            "lat": lat,
            **(more or {}),
        },
    )


def site_table(sites: Sites, *, crs: CRS | None, more: Mapping[str, NDArray[Any]]) -> FeatureTable:
    """Sites as points; ``more`` are the columns that works and structures add."""
    lon, lat = lon_lat(crs, sites.x_m, sites.y_m)
    columns: dict[str, NDArray[Any]] = {
        "site_id": np.arange(1, sites.count + 1),
        "structure": sites.texts(lambda s: s.structure),
        "control": sites.controls,
        "purpose": sites.texts(lambda s: s.spot.task.purpose),
        "channel_id": sites.whole(lambda s: s.where.reach) + 1,
        "station_m": sites.numbers(lambda s: s.where.station_m),
        "elevation_m": sites.elevation_m,
        "slope": sites.numbers(lambda s: s.spot.slope),
        "slope_above": sites.numbers(lambda s: s.spot.bed.above),
        "slope_below": sites.numbers(lambda s: s.spot.bed.below),
        **_channel_columns(sites),
        "headcut_height_m": sites.numbers(lambda s: s.spot.drop.height_m),
        "drainage_area_ha": sites.drainage_area_ha,
        "area_complete": sites.area_complete,
        **_flood_columns(sites),
        "structure_height_m": sites.sized("height_m"),
        "structure_length_m": sites.sized("length_m"),
        "reach_share": sites.reach_share,
        "banks_first": sites.banks_first,
        "pair_id": sites.whole(lambda s: s.member.group),
        "confidence": sites.numbers(lambda s: s.proposal.confidence),
        "reason": sites.texts(lambda s: s.reason),
        "caution": texts_of([s.caution or None for s in sites]),
        "flow_azimuth_deg": sites.azimuth_deg,
        "lon": lon,
        "lat": lat,
    }
    return FeatureTable(_points(sites.x_m, sites.y_m), {**columns, **more})


#: Columns of the channel that rest on its width.
_OF_THE_WIDTH = (
    "bankfull_width_m",
    "bankfull_depth_m",
    "bankfull_flow_m",
    "bankfull_low_m",
    "bankfull_high_m",
    "width_depth_ratio",
    "entrenchment_ratio",
)


def _channel_columns(sites: Sites) -> dict[str, NDArray[Any]]:
    """What the elevations tell of the channel at each site; nothing on a road, which has none."""
    reading, bankfull = sites.reading, sites.reading.bankfull
    told = {
        "width_m": sites.width_m,
        "depth_m": sites.depth_m,
        "width_low_m": sites.width_range_m[:, 0],
        "width_high_m": sites.width_range_m[:, 1],
        # of a swale the elevations show the floor, though they show no banks
        "width_source": np.where(
            ~sites.width_unseen & (reading.width_source == "curve"), "dem", reading.width_source
        ).astype(object),
        "bank_width_m": reading.bank_width_m,
        "bank_depth_m": reading.bank_depth_m,
        "bankfull_width_m": bankfull.width_m,
        "bankfull_depth_m": bankfull.depth_m,
        "bankfull_source": bankfull.source,
        "bankfull_bench_m": bankfull.bench_m,
        "bankfull_flow_m": bankfull.flow_m,
        "bankfull_curve_m": bankfull.curve_m,
        "bankfull_low_m": bankfull.low_m,
        "bankfull_high_m": bankfull.high_m,
        "width_depth_ratio": reading.width_depth_ratio,
        "bank_height_ratio": reading.bank_height_ratio,
        "entrenchment_ratio": reading.entrenchment_ratio,
        "valley_floor_width_m": reading.valley_floor_width_m,
        "confinement": reading.confinement,
        "setting": reading.setting,
        # a shallow swale is in no stage of incision
        "stage": np.where(np.isin(reading.setting, SWALES), 0, reading.stage),
        "stage_confidence": np.where(
            np.isin(reading.setting, SWALES), np.nan, reading.stage_confidence
        ),
    }
    # what follows from a width that nobody saw is not told as one number
    for name in _OF_THE_WIDTH:
        told[name] = without(told[name], sites.width_unseen)
    # but for what the tape said
    taped = sites.are(lambda s: "bankfull" in s.proposal.field.measured)
    told["bankfull_depth_m"] = np.where(taped, bankfull.depth_m, told["bankfull_depth_m"])
    return {name: without(values, sites.on_road) for name, values in told.items()}


def without(values: NDArray[Any], where: BoolArray) -> NDArray[Any]:
    """Values with nothing in some places: NaN for numbers, None for texts, 0 for whole numbers."""
    nothing = {"f": np.nan, "O": None}.get(values.dtype.kind, 0)
    out = values.copy()
    out[where] = nothing
    return out


def _flood_columns(sites: Sites) -> dict[str, NDArray[Any]]:
    """Peak flows, and what they rest on; no method is named on a road."""
    floods, on_road = sites.floods, sites.on_road
    return {
        **{f"q{t:g}_m3s": q for t, q in zip(RETURN_PERIODS_YR, sites.q_m3s.T, strict=True)},
        "flood_method": texts_of(
            [None if r else m for r, m in zip(on_road, floods.method, strict=True)]
        ),
        "flood_note": floods.note,
        "tc_h": floods.time_of_concentration_h,
        "curve_number": floods.curve_number,
    }


def drainage_table(ground: Ground, sites: Sites) -> FeatureTable:
    """Drainage areas of the sites in channels as polygons."""
    at = np.flatnonzero(~sites.on_road)
    shapes = over_items(lambda c: ground.catchments.polygon(int(c)), list(sites.cell[at]))
    return FeatureTable(
        shapes_of(shapes),
        {
            "site_id": at + 1,
            "drainage_area_ha": sites.drainage_area_ha[at],
            "mean_slope": sites.floods.mean_slope[at],
            "flow_path_m": sites.floods.flow_path_m[at],
            "curve_number": sites.floods.curve_number[at],
            "area_complete": sites.area_complete[at],
        },
    )


def look_first_table(reaches: Sequence[HealingReach], *, crs: CRS | None) -> FeatureTable:
    """Reaches that may be healing as lines, digitised downstream, the longest first."""
    order = sorted(reaches, key=lambda r: (-r.length_m, r.reach, r.low_m))

    def numbers(get: Callable[[HealingReach], float]) -> FloatArray:
        return np.array([get(r) for r in order], dtype=np.float64)

    lines = [shapely.LineString(np.column_stack([r.x_m, r.y_m])[::-1]) for r in order]
    lon, lat = lon_lat(crs, numbers(lambda r: r.x_m[0]), numbers(lambda r: r.y_m[0]))
    return FeatureTable(
        shapes_of(lines),
        {
            "look_id": np.arange(1, len(order) + 1),
            "channel_id": np.array([r.reach + 1 for r in order], dtype=np.int64),
            "station_m": numbers(lambda r: r.low_m),
            "length_m": numbers(lambda r: r.length_m),
            "stage": np.array([r.stage for r in order], dtype=np.int64),
            "stage_confidence": numbers(lambda r: r.confidence),
            "bench_m": numbers(lambda r: r.bench_m),
            "bank_depth_m": numbers(lambda r: r.bank_depth_m),
            "bank_width_m": numbers(lambda r: r.bank_width_m),
            "slope": numbers(lambda r: r.slope),
            "drainage_area_ha": numbers(lambda r: r.drainage_area_ha),
            "evidence": texts_of([r.evidence for r in order]),
            "lon": lon,
            "lat": lat,
        },
    )


def road_table(keep: KeepClear | None) -> FeatureTable:
    """Roads that were given, each piece of them a line of its own."""
    if keep is None or not keep.roads.size:
        return FeatureTable(shapes_of([]), {"name": texts_of([])})
    # a list, as shapely before 2.2 takes no read-only array here
    lines, row = shapely.get_parts(list(keep.roads), return_index=True)
    lines = shapely.force_2d(lines)
    drawn = shapely.is_valid(lines) & ~shapely.is_empty(lines)
    names = [str(n) or None for n in keep.road_names[row[drawn]]]
    return FeatureTable(shapes_of(list(lines[drawn])), {"name": texts_of(names)})


@dataclass(frozen=True, slots=True, eq=False)
class Sections:
    """Sections measured at n places; NaN where the elevations do not show the channel."""

    x_m: FloatArray
    y_m: FloatArray
    azimuth_deg: FloatArray
    width_m: FloatArray
    depth_m: FloatArray
    left_m: FloatArray
    right_m: FloatArray
    channel_id: IntArray
    station_m: FloatArray


def sections_below(ground: Ground, keep: IntArray) -> Sections:
    """Measure the channel just below the foot of headcuts."""
    heads, cell_m = ground.headcuts, ground.raster.grid.cell_m
    past = np.maximum(heads.headcut_height_m[keep], 2 * cell_m)
    way, walked = ground.ways_down(
        heads.foot_cell[keep], length_m=float(past.max(initial=0.0)) + 2 * cell_m
    )
    at = way[np.arange(keep.size), np.argmax(walked >= past[:, None], axis=1)]
    at = np.where(at >= 0, at, heads.foot_cell[keep])
    return sections_at(ground, at)


def sections_at(ground: Ground, cells: IntArray) -> Sections:
    """Measure the channel at cells."""
    azimuth = ground.azimuth_deg(cells)
    s = ground.sections(cells, azimuth)
    x, y = ground.raster.grid.xy_of(cells)
    reach, station = ground.on_network(cells)
    return Sections(
        x_m=x,
        y_m=y,
        azimuth_deg=azimuth,
        width_m=np.where(s.resolved, s.bank_width_m, np.nan),
        depth_m=np.where(s.resolved, s.bank_depth_m, np.nan),
        left_m=np.where(s.resolved, s.left_m, np.nan),
        right_m=np.where(s.resolved, s.right_m, np.nan),
        channel_id=reach + 1,
        station_m=station,
    )


def section_table(*parts: Sections) -> FeatureTable:
    """Lines across the channel wherever it was measured."""
    kept = [np.flatnonzero(np.isfinite(p.left_m) & np.isfinite(p.right_m)) for p in parts]
    ends = [
        section_lines(p.x_m[k], p.y_m[k], p.azimuth_deg[k], p.left_m[k], p.right_m[k])
        for p, k in zip(parts, kept, strict=True)
    ]

    def joined(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(p, name)[k] for p, k in zip(parts, kept, strict=True)])

    count = sum(k.size for k in kept)
    return FeatureTable(
        lines_of(np.concatenate(ends)),
        {
            "section_id": np.arange(1, count + 1),
            "channel_id": joined("channel_id"),
            "station_m": joined("station_m"),
            "width_m": joined("width_m"),
            "depth_m": joined("depth_m"),
        },
    )


def _points(x: FloatArray, y: FloatArray) -> NDArray[Any]:
    return shapes_of(list(shapely.points(x, y))) if x.size else shapes_of([])


def lines_of(ends: FloatArray) -> NDArray[Any]:
    """Lines between two ends each, shape ``(n, 2, 2)``, as an array of shapes."""
    return shapes_of(list(shapely.linestrings(ends))) if len(ends) else shapes_of([])
