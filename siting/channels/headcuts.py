"""Find headcuts: sudden drops in the beds of channels.

Every way that drains 300 m2 is walked from its outlet up, on the ground as measured. Where the bed
bends most over 3 m lies the lip of a drop, however sharp or spread it is; its foot, up to 8 m
below, is where the drop stands out most beyond what the bed around it makes. Each drop is fitted
(line, face, line) and measured together with the ground around it, and few witnesses are weighed
into the probability that it is a headcut (`siting.channels.headcut_confidence`). Of drops that
share a lip or a bowl the surest stays. Finds of a half and more become sites; those from a quarter
on are kept as places to look at.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.head_doubts import doubted
from siting.channels.headcut_confidence import confidence, evidence_text
from terrain.channels.bed_drops import BedDrops, bed_drops, window_unit_m
from terrain.channels.network import ChannelNetwork, stems
from terrain.channels.on_network import place_on_network
from terrain.channels.profiles import profile_step_m
from terrain.flow.conditioning import Conditioned
from terrain.values.arrays import FloatArray, read_only
from terrain.values.errors import ParameterError
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster


@dataclass(frozen=True, slots=True)
class HeadcutSettings:
    """What is searched and what counts.

    Parameters
    ----------
    walk_area_ha
        Ways that drain at least this much are walked, even where it is less than a channel, ha.
    top_area_ha
        Each way is walked up to this drainage area, ha.
    least_area_ha
        Drops that less land drains over are not reported, ha: walls of gullies are full of them.
    least_drop_m
        Drops that stand out by less are never looked at, m.
    least_height_m
        Headcuts lower than this are not reported, m: a step of 0.3 m is about twice what two
        heights of 10 cm error make by chance (practice: 0.3 to 0.5 m "check on site").
    least_confidence
        Finds less sure than this are not reported. Those below a half are places to look at.
    apart_m
        Of finds closer than this the surer one stays, m.
    largest_cell_m
        On larger cells nothing is searched: a headcut cannot be seen, m.

    Raises
    ------
    ParameterError
        A value that is not above 0.
    """

    walk_area_ha: float = 0.03
    top_area_ha: float = 0.01
    least_area_ha: float = 0.03
    least_drop_m: float = 0.2
    least_height_m: float = 0.3
    least_confidence: float = 0.25
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
        Integer drainage counts of the same grid, shape ``(rows, cols)``.
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
    drops = bed_drops(
        raster, conditioned, walked, least_drop_m=settings.least_drop_m, progress=progress
    )
    if not drops.size:
        return _none()
    table = drops.measures
    area = counts.reshape(-1)[drops.lip_cell] * (grid.cell_area_m2 / 10_000.0)
    sure = confidence(
        table,
        drops.from_junction_m,
        area,
        unit_m=window_unit_m(grid.cell_m),
        cell_m=grid.cell_m,
    )
    keep = _what_counts(drops, sure, area, settings, grid.cell_m)
    sure = doubted(raster, drops.lip_cell, table["height_m"], sure)
    keep = keep[sure[keep] >= settings.least_confidence]
    reach, station = place_on_network(conditioned.flow, counts, network, drops.lip_cell[keep])
    order = np.lexsort((station, reach))
    keep, reach, station = keep[order], reach[order], station[order]
    t = {name: column[keep] for name, column in table.items()}
    face = np.maximum(t["face_m"], profile_step_m(raster))
    return Headcuts(
        cell=drops.lip_cell[keep],
        foot_cell=drops.foot_cell[keep],
        x_m=drops.x_m[keep],
        y_m=drops.y_m[keep],
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
        is_side=drops.from_junction_m[keep] <= SIDE_HEAD_M,
        evidence=evidence_text(t, drops.from_junction_m[keep], sure[keep]),
    )


def _what_counts(
    drops: BedDrops, sure: FloatArray, area: FloatArray, settings: HeadcutSettings, cell_m: float
) -> NDArray[np.int64]:
    """Indices of the drops that are high enough, and the surest among those near each other."""
    enough = (drops.measures["height_m"] >= settings.least_height_m) & (
        area >= settings.least_area_ha
    )
    keep = np.flatnonzero(enough)
    apart = max(settings.apart_m, cell_m)
    lips = np.column_stack([drops.x_m[keep], drops.y_m[keep]])
    feet = np.column_stack([drops.foot_x_m[keep], drops.foot_y_m[keep]])
    return keep[surest_apart(lips, feet, sure[keep], area[keep], apart)]


def surest_apart(
    lips: FloatArray, feet: FloatArray, sure: FloatArray, area: FloatArray, apart: float
) -> NDArray[np.int64]:
    """Indices of finds, the surest first, none with lip or foot closer to a surer one's.

    Ways that fall into one bowl from several sides are one head, though their lips lie apart.

    Parameters
    ----------
    lips, feet
        Places, m, ``(n, 2)``.
    sure, area
        Confidence and drainage area, ``(n,)``; of equally sure ones the larger area comes first.
    apart
        Least distance, m.
    """
    order = np.lexsort((lips[:, 1], lips[:, 0], -area, -np.round(sure, 2)))
    kept = _far_apart(lips[order], apart)
    kept = order[kept]
    far: NDArray[np.int64] = kept[_far_apart(feet[kept], apart)]
    return far


def _far_apart(places: FloatArray, apart: float) -> NDArray[np.int64]:
    """Indices of places, the first first, none closer to an earlier one than ``apart`` m."""
    taken: dict[tuple[int, int], list[int]] = {}
    kept: list[int] = []
    for i, (x, y) in enumerate(places.tolist()):
        a, b = int(x // apart), int(y // apart)
        near = (
            j for da in (-1, 0, 1) for db in (-1, 0, 1) for j in taken.get((a + da, b + db), ())
        )
        if all(np.hypot(x - places[j, 0], y - places[j, 1]) > apart for j in near):
            taken.setdefault((a, b), []).append(i)
            kept.append(i)
    return np.array(kept, dtype=np.int64)


def _none() -> Headcuts:
    kinds: dict[str, Any] = dict.fromkeys(("cell", "foot_cell", "reach"), np.int64)
    kinds |= {"is_side": np.bool_, "evidence": object}
    return Headcuts(*(np.empty(0, dtype=kinds.get(f.name, np.float64)) for f in fields(Headcuts)))
