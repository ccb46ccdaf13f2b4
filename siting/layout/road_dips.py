"""Places for rolling dips: low swells across a ranch road that lead its water onto the ground.

Each stretch of road that falls one way gets dips from its top down. For the mean grade since the
last dip (or the top), and the soil, a table says how far water may run at most. Between a share of
that (``road_dip.closest``) and the whole, the place is taken that is farthest and lets the water
out onto the gentlest ground. A place will do where the road has a grade for a dip, the ground on
one side falls away, the water does not come to a channel, pond, culvert or building at once, and no
stream crosses close by. Where none does within the distance, the first one farther down is taken,
and this is said.

Not done: sags of the road are taken to drain by themselves; no dip is forced just above a stream
crossing; ruts, berms and ditches narrower than a cell are not seen; the soil is one for all roads,
and the slope of the surface across is not asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from siting.channels.ground import Ground
from siting.layout.clearance import Crossings, road_crossings
from siting.layout.keep_clear import KeepClear
from siting.layout.road_outlets import Outlets, cells_at, further_down, outlets_of
from siting.layout.road_profile import RoadPiece, grades_of, road_pieces
from siting.layout.road_words import Tally, cautions, reason
from siting.structures.dip_spacing import EROSIVE, greatest_m
from siting.values.rules import Rules
from terrain.channels.network import HECTARE_M2
from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only

LEFT: Final = "left"
RIGHT: Final = "right"
#: Rounding of distances, far below a station.
_ROUNDING_M: Final = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class RoadDips:
    """Rolling dips along roads, each stretch from its top down; n of them.

    Parameters
    ----------
    road_name
        What the file calls the road.
    stretch, order
        Number of the falling stretch, from 1, and place in it from its top, from 1: the order in
        which they are built.
    x_m, y_m, cell
        Place on the road, and the flat number of its cell.
    azimuth_deg
        Direction of the road downhill, clockwise from north.
    grade, grade_error
        Grade of the road at the dip, m per m, and its error.
    side
        ``left`` or ``right``, looking down the road: where the water leaves.
    outlet_slope, outlet_cell
        Fall of the ground there, m per m, and the flat number of the cell at the outlet's end.
    from_last_m
        Along the road from the dip above, or from the top of the stretch.
    to_next_m
        To the dip below; NaN at the last one.
    mean_grade
        Mean grade since the dip above, which the distance is taken for.
    soil
        Soil of the road, which it is taken for as well.
    spacing_m
        Greatest distance that the table allows for both.
    after_dip
        Whether it lies below another dip, not below the top of the stretch.
    first_open
        Whether it lies farther than that, as the first place that lets the water out.
    road_area_m2
        Surface of the road since the dip above: width times length.
    land_ha
        Land that drains onto this piece of road by the elevations, its surface included; the
        channels that the road crosses are left out.
    reason, cautions
        Plain sentences (the latter a tuple each).
    notes
        What was looked at and left out.
    """

    road_name: NDArray[np.object_]
    stretch: IntArray
    order: IntArray
    x_m: FloatArray
    y_m: FloatArray
    cell: IntArray
    azimuth_deg: FloatArray
    grade: FloatArray
    grade_error: FloatArray
    side: NDArray[np.object_]
    outlet_slope: FloatArray
    outlet_cell: IntArray
    from_last_m: FloatArray
    to_next_m: FloatArray
    mean_grade: FloatArray
    soil: NDArray[np.object_]
    spacing_m: FloatArray
    after_dip: BoolArray
    first_open: BoolArray
    road_area_m2: FloatArray
    land_ha: FloatArray
    reason: NDArray[np.object_]
    cautions: NDArray[np.object_]
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        for f in fields(self):
            if f.name != "notes":
                read_only(getattr(self, f.name))

    @property
    def size(self) -> int:
        """Number of dips."""
        return int(self.cell.size)


@dataclass(frozen=True, slots=True)
class _Pick:
    """A dip in a stretch: its place there and that of the one above, and the distance it keeps."""

    at: int
    last: int
    mean_grade: float
    spacing_m: float
    first_open: bool


def lay_road_dips(keep: KeepClear, ground: Ground, *, soil: str = EROSIVE) -> RoadDips:
    """Lay rolling dips along all roads of the ranch.

    Parameters
    ----------
    keep
        Roads, and what else the water must not be led to.
    ground
        The terrain; ``ground.rules`` holds the limits, and only places inside the ranch count.
    soil
        Soil of the roads, one of `siting.structures.dip_spacing.SOILS`.

    Returns
    -------
    RoadDips
        Empty without roads.
    """
    crossings = road_crossings(keep, ground)
    rows: list[dict[str, Any]] = []
    tally = Tally(ground.rules.high("road_dip.grade"))
    table = _Table(ground.rules, soil)
    stretch = 0
    for piece in road_pieces(keep, ground.raster):
        cells = cells_at(ground, piece.x_m, piece.y_m)
        outlets = outlets_of(piece, keep, ground)
        fits = _road_fits(piece, cells, ground, crossings)
        tally.add(piece, fits, outlets)
        for grade in grades_of(piece):
            way = grade.stations
            picks = list(_lay(piece, way, fits & (outlets.side != 0), outlets, table, tally))
            stretch += bool(picks)
            for k, pick in enumerate(picks):
                following = picks[k + 1].at if k + 1 < len(picks) else -1
                row = _row(piece, way, pick, following, outlets, cells, ground)
                told = {"stretch": stretch, "order": k + 1, "soil": soil, **row}
                why, look = reason(told), cautions(told, ground.rules)
                rows.append({**told, "reason": why, "cautions": look})
    further = further_down(keep, ground, np.array([r["outlet_cell"] for r in rows], dtype=np.int64))
    for row, said in zip(rows, further, strict=True):
        row["cautions"] += said
    return _gathered(rows, tally.notes())


def _road_fits(
    piece: RoadPiece, cells: IntArray, ground: Ground, crossings: Crossings
) -> BoolArray:
    """Where the road itself will take a dip: its grade, its ground, and no stream close by."""
    rules = ground.rules
    steep = np.abs(piece.grade)
    at = np.maximum(cells, 0)
    fits = (
        (cells >= 0)
        & (steep >= rules.low("road_dip.grade"))
        & (steep + rules.value("measuring.slope_error") <= rules.high("road_dip.grade"))
        & ground.inside(at)
        & ~ground.under_water(at)
    )
    if crossings.cell.size:
        tree = shapely.STRtree(shapely.points(crossings.x_m, crossings.y_m))
        near = tree.query(
            shapely.points(piece.x_m, piece.y_m),
            predicate="dwithin",
            distance=rules.value("road_dip.from_crossing"),
        )[0]
        fits[near] = False
    return np.asarray(fits)


@dataclass(frozen=True, slots=True)
class _Table:
    """How far apart dips lie on roads of one soil."""

    rules: Rules
    soil: str

    def greatest_m(self, grade: FloatArray) -> FloatArray:
        """Greatest distance for mean grades; infinite where a road is too flat to need a dip."""
        allowed = greatest_m(grade, self.rules, soil=self.soil)
        return np.where(grade >= self.rules.low("road_dip.grade") - 1e-9, allowed, np.inf)

    @property
    def closest(self) -> float:
        """Least distance as a share of the greatest."""
        return self.rules.value("road_dip.closest")


def _lay(
    piece: RoadPiece,
    way: IntArray,
    fits: BoolArray,
    outlets: Outlets,
    table: _Table,
    tally: Tally,
) -> Iterator[_Pick]:
    """Dips of one stretch from its top down; places count along ``way``."""
    rules = table.rules
    height, good = piece.height_m[way], fits[way].copy()
    along = np.arange(way.size) * piece.step_m
    # so close to the sag a dip has nothing left to do
    good[along > along[-1] - rules.value("road_dip.from_crossing")] = False
    gentle = 1.0 - outlets.slope[way] / rules.high("road_dip.outlet_slope")
    last = 0
    while True:
        far = along[last + 1 :] - along[last]
        mean = np.maximum((height[last] - height[last + 1 :]) / far, 0.0)
        allowed = table.greatest_m(mean)
        due = np.flatnonzero(far >= allowed - _ROUNDING_M)
        if not due.size:
            return
        # never nearer than its own share, whatever the grade does on the way
        usable = good[last + 1 :] & (far >= table.closest * allowed - _ROUNDING_M)
        within = usable & (far <= allowed + _ROUNDING_M)
        window = np.flatnonzero(within & (np.arange(far.size) <= due[0]))
        beyond = np.flatnonzero(usable & (np.arange(far.size) > due[0]))
        if window.size:
            worth = far[window] / allowed[window] + gentle[last + 1 :][window]
            k = int(window[np.argmax(worth)])
        elif beyond.size:
            k = int(beyond[0])
        else:
            tally.undrained_m += float(along[-1] - along[last])
            return
        at = last + 1 + k
        yield _Pick(at, last, float(mean[k]), float(allowed[k]), not bool(within[k]))
        last = at


def _row(
    piece: RoadPiece,
    way: IntArray,
    pick: _Pick,
    following: int,
    outlets: Outlets,
    cells: IntArray,
    ground: Ground,
) -> dict[str, Any]:
    """Everything about one dip."""
    i = int(way[pick.at])
    down = 1 if way[-1] > way[0] else -1
    from_last = (pick.at - pick.last) * piece.step_m
    return {
        "road_name": piece.name,
        "x_m": piece.x_m[i],
        "y_m": piece.y_m[i],
        "cell": cells[i],
        "azimuth_deg": np.degrees(np.arctan2(down * piece.east[i], down * piece.north[i])) % 360,
        "grade": abs(piece.grade[i]),
        "grade_error": ground.rules.value("measuring.slope_error"),
        "side": LEFT if outlets.side[i] * down > 0 else RIGHT,
        "outlet_slope": outlets.slope[i],
        "outlet_cell": outlets.cell[i],
        "from_last_m": from_last,
        "to_next_m": (following - pick.at) * piece.step_m if following >= 0 else np.nan,
        "mean_grade": pick.mean_grade,
        "spacing_m": pick.spacing_m,
        "after_dip": pick.last > 0,
        "first_open": pick.first_open,
        "road_area_m2": from_last * ground.rules.value("road_dip.road_width"),
        "land_ha": _land_ha(cells[way[pick.last : pick.at + 1]], ground),
    }


def _land_ha(cells: IntArray, ground: Ground) -> float:
    """Land that drains to any of the cells, without the channels among them."""
    cells = np.unique(cells[cells >= 0])
    counts = ground.counts.reshape(-1)[cells].astype(np.int64)
    dry = counts < ground.network.threshold_cells
    first = ground.catchments.number.reshape(-1)[cells[dry]].astype(np.int64)
    last = first + counts[dry]
    order = np.lexsort((-last, first))
    first, last = first[order], last[order]
    # catchments lie within one another or apart: those within others add nothing
    before = np.concatenate([[-1], np.maximum.accumulate(last)[:-1]]) if last.size else last
    apart = first >= before
    number = int((last[apart] - first[apart]).sum())
    return number * ground.raster.grid.cell_area_m2 / HECTARE_M2


def _gathered(rows: list[dict[str, Any]], notes: tuple[str, ...]) -> RoadDips:
    columns: dict[str, Any] = {}
    for f in fields(RoadDips):
        if f.name == "notes":
            continue
        values = [row[f.name] for row in rows]
        kind = f.type if isinstance(f.type, str) else ""
        if "object" in kind:
            column = np.empty(len(values), dtype=object)
            for i, value in enumerate(values):
                column[i] = value
            columns[f.name] = column
        else:
            number = np.int64 if "Int" in kind else np.float64
            columns[f.name] = np.array(values, dtype=np.bool_ if "Bool" in kind else number)
    return RoadDips(**columns, notes=notes)
