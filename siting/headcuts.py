"""Find headcuts: sudden drops in the beds of channels.

Every channel is walked from its outlet up, on the ground as measured. A drop stands out where
straight lines fitted to the bed below and above it do not meet; a steady slope, however steep, and
a change of slope give none. Each drop is then fitted (line, face, line) and weighed: its height
against the noise, how abrupt it is, whether it is a road fill or a pond's bank (ground behind the
lip lies lower, or conditioning had to cut through), whether the path merely falls over the side of
a gully (which then goes on behind the foot), and whether the bed is more incised below than above.
The weights are this project's own, settled on generated ranches and scored on others
(``tests/accuracy``); no published measure of headcuts below a metre in lidar was found.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.headcut_confidence import confidence, evidence_text
from terrain._kernels.network import first_channel_cell, way_down
from terrain._kernels.profiles import STEP_COLUMNS, steps_of_stem
from terrain.channels import ChannelNetwork, Stems, stems
from terrain.conditioning import Conditioned
from terrain.errors import ParameterError
from terrain.parallel import over_items
from terrain.profiles import place_of, profile_step_m, profile_table
from terrain.progress import Progress, silent
from terrain.raster import Raster, read_only

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class HeadcutSettings:
    """What is searched and what counts.

    Parameters
    ----------
    walk_area_ha
        Ways that drain at least this much are walked, even where it is less than a channel, ha.
    top_area_ha
        Each way is walked up to this drainage area, ha.
    least_drop_m
        Drops that stand out by less are never looked at, m.
    least_height_m
        Headcuts lower than this are not reported, m: a step of 0.3 m is about twice what two
        heights of 10 cm error make by chance (practice: 0.3 to 0.5 m "check on site").
    least_confidence
        Finds less sure than this are not reported.
    apart_m
        Of finds closer than this the surer one stays, m.
    largest_cell_m
        On larger cells nothing is searched: a headcut cannot be seen, m.
    """

    walk_area_ha: float = 0.15
    top_area_ha: float = 0.05
    least_drop_m: float = 0.25
    least_height_m: float = 0.3
    least_confidence: float = 0.3
    apart_m: float = 6.0
    largest_cell_m: float = 5.0

    def __post_init__(self) -> None:
        for f in fields(self):
            if not getattr(self, f.name) > 0:
                raise ParameterError(f"{f.name} of {getattr(self, f.name)}", expected="more than 0")


@dataclass(frozen=True, slots=True, eq=False)
class Headcuts:
    """Headcuts, sorted by reach and station; arrays of shape ``(n,)``.

    Parameters
    ----------
    cell, foot_cell
        Flat cell numbers of lip and foot.
    x_m, y_m
        Place of the lip.
    reach
        Reach of the channel network it lies on, or that its water comes to first; -1 for none.
    station_m
        Metres up that reach from its lower end.
    headcut_height_m, face_length_m, face_slope
        Drop from lip to foot without the reach's own slope, length of the face, and their ratio.
    slope_below, slope_above
        Bed slope of the reach below and above, m per m.
    incision_below_m, incision_above_m
        Height of the lower bank above the bed.
    drainage_area_ha
        Land that drains over the lip.
    confidence
        0 to 1.
    is_side
        Whether it works back from the side of a larger channel, at most 40 m from it.
    evidence
        Plain words.
    """

    cell: NDArray[np.int64]
    foot_cell: NDArray[np.int64]
    x_m: FloatArray
    y_m: FloatArray
    reach: NDArray[np.int64]
    station_m: FloatArray
    headcut_height_m: FloatArray
    face_length_m: FloatArray
    face_slope: FloatArray
    slope_below: FloatArray
    slope_above: FloatArray
    incision_below_m: FloatArray
    incision_above_m: FloatArray
    drainage_area_ha: FloatArray
    confidence: FloatArray
    is_side: NDArray[np.bool_]
    evidence: NDArray[Any]

    @property
    def size(self) -> int:
        """Number of headcuts."""
        return int(self.cell.size)

    def take(self, which: NDArray[Any]) -> Headcuts:
        """Return some of them."""
        return Headcuts(*(read_only(getattr(self, f.name)[which]) for f in fields(self)))


#: A head this close to the larger channel is called a side head, m (common practice, no
#: published source).
SIDE_HEAD_M = 40.0


def window_unit_m(cell_m: float) -> float:
    """Length that the search's windows are multiples of: 1 m, or a larger cell, m."""
    return max(1.0, cell_m)


def find_headcuts(
    raster: Raster,
    conditioned: Conditioned,
    counts: NDArray[Any],
    network: ChannelNetwork,
    *,
    settings: HeadcutSettings | None = None,
    progress: Progress = silent,
) -> Headcuts:
    """Find headcuts along all channels.

    Parameters
    ----------
    raster
        Ground as measured: heights and places come from it.
    conditioned
        Its conditioned surface and flow directions.
    counts
        Integer drainage counts of the same grid.
    network
        Channels that the headcuts are referred to.
    settings
        What is searched and what counts.
    progress
        Told how far the work is.
    """
    settings = settings or HeadcutSettings()
    grid = raster.grid
    if grid.cell_m > settings.largest_cell_m or not network.size:
        return _none()
    channel_ha = network.threshold_cells * grid.cell_area_m2 / 10_000.0
    walked = stems(
        conditioned.flow,
        counts,
        channel_area_ha=min(settings.walk_area_ha, channel_ha),
        top_area_ha=settings.top_area_ha,
    )
    chunks = np.array_split(np.arange(walked.size), max(1, walked.size // 64))
    done = 0

    def search(chunk: NDArray[np.int64]) -> list[_Found]:
        nonlocal done
        found = [_search_stem(raster, conditioned, walked, int(k), settings) for k in chunk]
        done += 1
        progress("looking for headcuts", done / len(chunks))
        return [f for f in found if f is not None]

    found = [f for part in over_items(search, chunks) for f in part]
    if not found:
        return _none()
    steps = np.concatenate([f.steps for f in found])
    table = {name: steps[:, i] for i, name in enumerate(STEP_COLUMNS)}
    cell = np.concatenate([f.lip_cell for f in found])
    place = np.concatenate([f.place for f in found])
    from_junction = np.concatenate([f.from_junction_m for f in found])
    area = counts.reshape(-1)[cell] * (grid.cell_area_m2 / 10_000.0)
    sure = confidence(table, from_junction, unit_m=window_unit_m(grid.cell_m))
    x, y = place_of(raster, place[:, 0], place[:, 1])
    keep = np.flatnonzero(table["height_m"] >= settings.least_height_m)
    keep = keep[
        _surest_apart(x[keep], y[keep], sure[keep], area[keep], max(settings.apart_m, grid.cell_m))
    ]
    keep = keep[sure[keep] >= settings.least_confidence]
    reach, station = _on_network(conditioned, counts, network, cell[keep])
    order = np.lexsort((station, reach))
    keep, reach, station = keep[order], reach[order], station[order]
    t = {name: column[keep] for name, column in table.items()}
    face = np.maximum(t["face_m"], profile_step_m(raster))
    return Headcuts(
        cell=cell[keep],
        foot_cell=np.concatenate([f.foot_cell for f in found])[keep],
        x_m=x[keep],
        y_m=y[keep],
        reach=reach,
        station_m=station,
        headcut_height_m=t["height_m"],
        face_length_m=face,
        face_slope=t["height_m"] / face,
        slope_below=t["slope_below"],
        slope_above=t["slope_above"],
        incision_below_m=t["below_m"],
        incision_above_m=t["above_m"],
        drainage_area_ha=area[keep],
        confidence=sure[keep],
        is_side=from_junction[keep] <= SIDE_HEAD_M,
        evidence=evidence_text(t, from_junction[keep], sure[keep]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """Drops of one stem."""

    steps: FloatArray
    lip_cell: NDArray[np.int64]
    foot_cell: NDArray[np.int64]
    place: FloatArray
    from_junction_m: FloatArray


def _search_stem(
    raster: Raster, conditioned: Conditioned, walked: Stems, stem: int, settings: HeadcutSettings
) -> _Found | None:
    grid = raster.grid
    unit, step = window_unit_m(grid.cell_m), profile_step_m(raster)
    own = walked.of(stem)
    joins = int(walked.joins[stem])
    before = np.empty(0, np.int64)
    if joins >= 0:  # what it joins is needed to judge a drop close to the junction
        before = way_down(conditioned.flow.codes, joins, max(2, round(20 * unit / step)))[::-1]
    cells = np.concatenate([before, own])
    if cells.size < 6:
        return None
    line = profile_table(raster, cells, conditioned.raster.elevation_m)
    own_from = int(np.searchsorted(line[:, 4], before.size))
    steps = steps_of_stem(
        raster.elevation_m,
        line,
        own_from,
        grid.cell_width_m,
        grid.cell_height_m,
        unit,
        step,
        settings.least_drop_m,
    )
    if not len(steps):
        return None
    lip, foot = steps[:, 0].astype(np.int64), steps[:, 1].astype(np.int64)
    nearest = np.minimum(np.rint(line[:, 4]).astype(np.int64), cells.size - 1)
    start = own_from if joins >= 0 else -(10**6)
    return _Found(
        steps,
        cells[nearest[lip]],
        cells[nearest[foot]],
        line[lip, :2],
        (foot - start) * step,
    )


def _surest_apart(
    x: FloatArray, y: FloatArray, sure: FloatArray, area: FloatArray, apart: float
) -> NDArray[np.int64]:
    """Indices of finds, the surest first, none closer to a surer one than ``apart``."""
    taken: dict[tuple[int, int], list[int]] = {}
    kept: list[int] = []
    for i in np.lexsort((y, x, -area, -np.round(sure, 2))):
        a, b = int(x[i] // apart), int(y[i] // apart)
        near = (
            j for da in (-1, 0, 1) for db in (-1, 0, 1) for j in taken.get((a + da, b + db), ())
        )
        if all(np.hypot(x[i] - x[j], y[i] - y[j]) > apart for j in near):
            taken.setdefault((a, b), []).append(i)
            kept.append(i)
    return np.array(kept, dtype=np.int64)


def _on_network(
    conditioned: Conditioned,
    counts: NDArray[Any],
    network: ChannelNetwork,
    cells: NDArray[np.int64],
) -> tuple[NDArray[np.int64], FloatArray]:
    """Reach and station of cells; a cell above a channel's head counts on from its top."""
    flow = conditioned.flow
    channel = np.empty(cells.size, dtype=np.int64)
    way = np.empty(cells.size, dtype=np.float64)
    threshold = network.threshold_cells
    first_channel_cell(flow.codes, counts, threshold, cells, flow.step_m, channel, way)
    reach = network.reach_at(channel)
    own = np.zeros(network.line_cells.size, dtype=np.bool_)
    own[:] = True
    own[network.line_end[network.downstream >= 0] - 1] = False  # the junction below
    entries = np.flatnonzero(own)
    by_cell = entries[np.argsort(network.line_cells[entries], kind="stable")]
    at = np.searchsorted(network.line_cells[by_cell], channel)
    at = by_cell[np.minimum(at, by_cell.size - 1)]
    is_top = at == network.line_start[reach]
    station = network.vertex_station_m[at] + np.where(is_top, way, 0.0)
    return reach, np.where(reach >= 0, station, 0.0)


def _none() -> Headcuts:
    kinds: dict[str, Any] = dict.fromkeys(("cell", "foot_cell", "reach"), np.int64)
    kinds |= {"is_side": np.bool_, "evidence": object}
    return Headcuts(*(np.empty(0, dtype=kinds.get(f.name, np.float64)) for f in fields(Headcuts)))
