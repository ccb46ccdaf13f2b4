"""Measures along every channel: bed slope, banks, fans."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.headcuts import Headcuts
from siting.channels.reach_slopes import ReachSlopes
from terrain.channels.network import ChannelNetwork
from terrain.channels.profiles import downhill_azimuth_deg, place_of, profile_step_m, profile_table
from terrain.channels.sections import SectionMeasures, measure_sections
from terrain.values.arrays import FloatArray, IntArray, read_only
from terrain.values.errors import ParameterError
from terrain.values.parallel import over_items
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster

#: A fan is looked for this far below the end of a gully, m (common practice, no published source).
FAN_REACH_M = 100.0
#: A gully is at least this deep where it feeds a fan, m.
FAN_GULLY_DEPTH_M = 0.4
#: On a fan the lower side stands no higher than this above the bed, m.
FAN_SIDE_RISE_M = 0.1

#: Sections to each side that stand in for one that crosses its neighbour.
AROUND = 3
#: Cells that the channel around a station must be wide for its width to be taken as measured.
WIDE_CELLS = 3.25


@dataclass(frozen=True, slots=True, eq=False)
class ReachStations:
    """Measures at even stations along every reach, by reach and station; arrays ``(m,)``.

    Parameters
    ----------
    cell
        Nearest flat cell of the channel.
    x_m, y_m, flow_azimuth_deg
        Place, and direction of the flow clockwise from north.
    reach, station_m
        Reach and metres up it from its lower end.
    elevation_m
        Ground as measured.
    slope
        Bed slope over 25 m up and down the water's way, across junctions, the faces of headcuts
        left out; m per m, not below 0. For looking along a channel; a structure stands on the slope
        of its own place: see `siting.channels.bed_slopes`.
    bank_width_m, bank_depth_m, valley_width_m
        See `terrain.channels.sections.SectionMeasures`; NaN where the raster does not show them.
    width_resolved
        Whether the width is wide enough for the cells.
    drainage_area_ha
        Land that drains to the place.
    is_fan
        Whether the channel spreads on a fan: it comes from a gully and no side rises above it.
    """

    cell: NDArray[np.int64]
    x_m: FloatArray
    y_m: FloatArray
    flow_azimuth_deg: FloatArray
    reach: NDArray[np.int64]
    station_m: FloatArray
    elevation_m: FloatArray
    slope: FloatArray
    bank_width_m: FloatArray
    bank_depth_m: FloatArray
    width_resolved: NDArray[np.bool_]
    valley_width_m: FloatArray
    drainage_area_ha: FloatArray
    is_fan: NDArray[np.bool_]

    @property
    def size(self) -> int:
        """Number of stations."""
        return int(self.cell.size)

    def take(self, which: NDArray[Any]) -> ReachStations:
        """Return some of them."""
        return ReachStations(*(read_only(getattr(self, f.name)[which]) for f in fields(self)))


def reach_stations(
    raster: Raster,
    network: ChannelNetwork,
    counts: NDArray[Any],
    *,
    headcuts: Headcuts | None = None,
    spacing_m: float = 5.0,
    progress: Progress = silent,
) -> ReachStations:
    """Measure every reach at even stations.

    Parameters
    ----------
    raster
        Ground as measured.
    network, counts
        Channels, and integer drainage counts of the same grid, ``(rows, cols)``.
    headcuts
        Their drops are left out of the bed slope.
    spacing_m
        Distance between stations, m; at least a cell.
    progress
        Told how far the work is.

    Raises
    ------
    ParameterError
        When the spacing is not above 0.
    """
    if not spacing_m > 0:
        raise ParameterError(f"stations {spacing_m} m apart", expected="more than 0 m")
    spacing = max(spacing_m, raster.grid.cell_m)
    slopes = ReachSlopes.of(raster, network, counts, headcuts)

    def walk(reach: int) -> _Stations:
        return _walk_reach(raster, network, reach, spacing, slopes)

    chunks = np.array_split(np.arange(network.size), max(1, network.size // 64))
    found = over_items(lambda part: [walk(int(k)) for k in part], chunks)
    rows = [stations for part in found for stations in part]
    progress("measuring channels", 0.3)
    along = _Stations.joined(rows)
    reach = np.repeat(np.arange(network.size), [r.cell.size for r in rows])
    x, y = place_of(raster, along.east_m, along.south_m)
    sections = without_crossings(
        measure_sections(raster, x, y, along.azimuth_deg), reach, x, y, along.azimuth_deg
    )
    progress("measuring channels", 1.0)
    return ReachStations(
        cell=along.cell,
        x_m=x,
        y_m=y,
        flow_azimuth_deg=along.azimuth_deg,
        reach=reach,
        station_m=along.station_m,
        elevation_m=raster.elevation_m.reshape(-1)[along.cell].astype(np.float64),
        slope=along.slope,
        bank_width_m=sections.bank_width_m,
        bank_depth_m=sections.bank_depth_m,
        width_resolved=sections.resolved & wide_around(sections.bank_width_m, reach, raster),
        valley_width_m=sections.valley_width_m,
        drainage_area_ha=counts.reshape(-1)[along.cell] * (raster.grid.cell_area_m2 / 10_000.0),
        is_fan=_fans(network, reach, along.station_m, sections),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Stations:
    """Stations of a reach, or of several; arrays ``(m,)``, places as kernels read them."""

    station_m: FloatArray
    east_m: FloatArray
    south_m: FloatArray
    azimuth_deg: FloatArray
    slope: FloatArray
    cell: IntArray

    @classmethod
    def joined(cls, parts: Sequence[_Stations]) -> _Stations:
        """Those of all parts, one after the other."""
        if not parts:
            none, cell = np.empty(0), np.empty(0, dtype=np.int64)
            return cls(none, none, none, none, none, cell)
        return cls(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(cls)))


def _walk_reach(
    raster: Raster,
    network: ChannelNetwork,
    reach: int,
    spacing: float,
    slopes: ReachSlopes,
) -> _Stations:
    cells = network.line_cells[network.line_start[reach] : network.line_end[reach]][::-1]
    line = profile_table(raster, cells)
    step = profile_step_m(raster)
    along = np.arange(len(line)) * step
    east, south, _, _, place = line.T
    # the smoothed line is shorter than the cells' way, on which stations are counted
    stretch = network.length_m[reach] / max(along[-1], step)
    start = min(0.5 * spacing, 0.5 * along[-1])
    places = np.arange(start, along[-1] + 1e-9, spacing)
    index = np.minimum(np.rint(places / step).astype(np.int64), len(line) - 1)
    return _Stations(
        station_m=along[index] * stretch,
        east_m=east[index],
        south_m=south[index],
        azimuth_deg=downhill_azimuth_deg(line)[index],
        slope=slopes.at(reach, place[index]),
        cell=cells[np.minimum(np.rint(place[index]).astype(np.int64), cells.size - 1)],
    )


def _fans(
    network: ChannelNetwork,
    reach: NDArray[np.int64],
    station_m: FloatArray,
    sections: SectionMeasures,
) -> NDArray[np.bool_]:
    """Where a channel that comes out of a gully has no side rising above it."""
    depth = np.nan_to_num(sections.bank_depth_m)
    flat = (depth < 0.5 * FAN_GULLY_DEPTH_M) & (sections.side_rise_m < FAN_SIDE_RISE_M)
    since = np.full(network.size, np.inf)  # metres below the last gully, at each lower end
    first = np.searchsorted(reach, np.arange(network.size))
    last = np.searchsorted(reach, np.arange(network.size), side="right")
    upstream: dict[int, list[int]] = {}
    for i, d in enumerate(network.downstream):
        upstream.setdefault(int(d), []).append(i)
    fan = np.zeros(reach.size, dtype=np.bool_)
    for i in np.argsort(network.head_count, kind="stable"):  # donors come first
        below = min((since[j] for j in upstream.get(int(i), [])), default=np.inf)
        before = float(network.length_m[i])
        for k in range(last[i] - 1, first[i] - 1, -1):
            below += before - station_m[k]
            before = float(station_m[k])
            if depth[k] >= FAN_GULLY_DEPTH_M:
                below = 0.0
            fan[k] = flat[k] and below <= FAN_REACH_M
        since[i] = below + before
    return fan


def without_crossings(
    sections: SectionMeasures,
    reach: NDArray[np.int64],
    x_m: FloatArray,
    y_m: FloatArray,
    flow_azimuth_deg: FloatArray,
) -> SectionMeasures:
    """Drop sections that cross a neighbour's within the bank tops, as they do in bends.

    Of two that cross, the one whose width departs more from that of the sections around it goes;
    it takes the median of up to three kept ones to each side in its reach.

    Parameters
    ----------
    sections
        Measures at stations, by reach and station.
    reach, x_m, y_m, flow_azimuth_deg
        Reach, place and direction of the flow of each, ``(m,)``.
    """
    n = reach.size
    around = np.arange(n)[:, None] + np.arange(-AROUND, AROUND + 1)[None, :]
    inside = (around >= 0) & (around < n)
    around = np.where(inside, around, 0)
    inside &= reach[around] == reach[:, None]
    width = sections.bank_width_m
    lines = section_lines(x_m, y_m, flow_azimuth_deg, sections.left_m, sections.right_m)
    # the width of those around is asked for where lines cross, which is seldom
    pairs = [(i, i + k) for k in (1, 2) for i in _crossing_pairs(lines, reach, k)]
    dropped = np.zeros(n, dtype=np.bool_)
    for i, j in sorted(pairs):
        if dropped[i] or dropped[j]:
            continue
        others = np.union1d(around[i][inside[i]], around[j][inside[j]])
        others = others[~dropped[others] & (others != i) & (others != j)]
        known = width[others][np.isfinite(width[others])]
        usual = float(np.median(known)) if known.size else min(width[i], width[j])
        worse = i if abs(width[i] - usual) > abs(width[j] - usual) else j
        dropped[worse] = True
    columns = {f.name: getattr(sections, f.name).copy() for f in fields(sections)}
    for i in np.flatnonzero(dropped):
        near = around[i][inside[i]]
        near = near[~dropped[near] & np.isfinite(width[near])]
        for name in ("bank_width_m", "bank_depth_m", "valley_width_m"):
            values = getattr(sections, name)[near]
            values = values[np.isfinite(values)]
            columns[name][i] = np.median(values) if values.size else np.nan
        for name in ("left_m", "right_m"):
            columns[name][i] = np.nan
        columns["resolved"][i] = 2 * sections.resolved[near].sum() > near.size
    return SectionMeasures(**{name: read_only(column) for name, column in columns.items()})


def wide_around(
    bank_width_m: FloatArray, reach: NDArray[np.int64], raster: Raster
) -> NDArray[np.bool_]:
    """Where the channel around a station, too, is wide enough for the cells.

    Noise makes a channel of two and a half cells look like three here and there, and where another
    one joins it looks twice as wide. The median over three stations each way is steadier; stations
    that show no banks do not count. All arrays are ``(m,)``, by reach and station.
    """
    n = reach.size
    around = np.arange(n)[:, None] + np.arange(-AROUND, AROUND + 1)[None, :]
    inside = (around >= 0) & (around < n)
    around = np.where(inside, around, 0)
    inside &= reach[around] == reach[:, None]
    widths = np.where(inside, bank_width_m[around], np.nan)
    known = np.isfinite(widths).any(axis=1)
    usual = np.full(n, np.nan)
    usual[known] = np.nanmedian(widths[known], axis=1)
    wide: NDArray[np.bool_] = usual >= WIDE_CELLS * raster.grid.cell_m
    return wide


def _crossing_pairs(lines: FloatArray, reach: NDArray[np.int64], apart: int) -> list[int]:
    """Stations whose line between the bank tops crosses that of the one ``apart`` further up."""
    a, b = lines[:-apart], lines[apart:]

    def side(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
        first, second = q - p, r - p
        return np.asarray(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])

    with np.errstate(invalid="ignore"):
        cross = (
            (side(a[:, 0], a[:, 1], b[:, 0]) * side(a[:, 0], a[:, 1], b[:, 1]) < 0)
            & (side(b[:, 0], b[:, 1], a[:, 0]) * side(b[:, 0], b[:, 1], a[:, 1]) < 0)
            & (reach[:-apart] == reach[apart:])
        )
    return [int(i) for i in np.flatnonzero(cross)]


def measure_at(
    raster: Raster, x_m: FloatArray, y_m: FloatArray, flow_azimuth_deg: FloatArray
) -> SectionMeasures:
    """Measure the channel at n places; see `terrain.channels.sections.measure_sections`.

    All arrays are ``(n,)``.
    """
    return measure_sections(raster, x_m, y_m, flow_azimuth_deg)


def section_lines(
    x_m: FloatArray,
    y_m: FloatArray,
    flow_azimuth_deg: FloatArray,
    left_m: FloatArray,
    right_m: FloatArray,
) -> FloatArray:
    """Ends of lines across the flow, left to right looking downstream; shape ``(n, 2, 2)``."""
    angle = np.radians(flow_azimuth_deg)
    # right of the flow when looking downstream
    east, north = np.cos(angle), -np.sin(angle)
    ends = [np.column_stack([x_m + off * east, y_m + off * north]) for off in (left_m, right_m)]
    return np.stack(ends, axis=1)
