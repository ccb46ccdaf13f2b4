"""Places for rolling dips: low swells across a ranch road that lead its water onto the ground.

Each stretch of road that falls one way gets dips from its top down. From the last dip (or the top)
the spacing rule for the mean grade since then says how far off the next may lie. Between half of
that and the whole, the place is taken that is farthest and lets the water out onto the gentlest
ground. A place will do where the road has a grade for a dip, the ground on one side falls away,
the water does not come to a channel, pond, culvert or building at once, and no stream crosses
close by. Where none does within the spacing, the first one farther down is taken, and this is said.

Not done: sags of the road are taken to drain by themselves; no dip is forced just above a stream
crossing; ruts, berms and ditches narrower than a cell are not seen; the slope of the road's surface
across is not asked for. Where nobody told the soil, it is taken for one that erodes.
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
from siting.layout.road_spacing import (
    ROLLING_DIP,
    ROLLING_DIP_GRADE,
    dip_spacing_m,
    rolling_dip_spacing_m,
)
from siting.values.rules import Rules
from siting.values.wording import hectares, metres, percent
from terrain.channels.network import HECTARE_M2
from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only

LEFT: Final = "left"
RIGHT: Final = "right"
#: Nearest place for the next dip, as a share of the spacing (common practice).
_CLOSEST_SHARE: Final = 0.5


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
        Mean grade since the dip above, which the spacing is taken for.
    spacing_m, spacing_low_m, spacing_high_m
        Spacing by the rule for rolling dips, and the range of all that apply.
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
    spacing_m: FloatArray
    spacing_low_m: FloatArray
    spacing_high_m: FloatArray
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
    """A dip in a stretch: its place there and that of the one above, and the spacing it keeps."""

    at: int
    last: int
    mean_grade: float
    spacing_m: float


def lay_road_dips(keep: KeepClear, ground: Ground, *, erosive: bool = True) -> RoadDips:
    """Lay rolling dips along all roads.

    Parameters
    ----------
    keep
        Roads, and what else the water must not be led to.
    ground
        The terrain; ``ground.rules`` holds the limits, and only places inside the ranch count.
    erosive
        Whether the soil of the roads erodes.

    Returns
    -------
    RoadDips
        Empty without roads.
    """
    crossings = road_crossings(keep, ground)
    rows: list[dict[str, Any]] = []
    tally = _Tally()
    stretch = 0
    for piece in road_pieces(keep, ground.raster):
        cells = cells_at(ground, piece.x_m, piece.y_m)
        outlets = outlets_of(piece, keep, ground)
        fits = _road_fits(piece, cells, ground, crossings)
        tally.add(piece, fits, outlets)
        for grade in grades_of(piece):
            way = grade.stations
            good = fits & (outlets.side != 0)
            stretch_of = _Stretch(piece, way, good, outlets, erosive)
            picks = list(_lay(stretch_of, ground.rules, tally))
            stretch += bool(picks)
            for k, pick in enumerate(picks):
                following = picks[k + 1].at if k + 1 < len(picks) else -1
                row = _row(stretch_of, pick, following, cells, ground)
                rows.append({"stretch": stretch, "order": k + 1, **row})
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


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """A stretch that falls one way: its stations from the top down, and where dips may lie."""

    piece: RoadPiece
    way: IntArray
    fits: BoolArray
    outlets: Outlets
    erosive: bool


def _lay(stretch: _Stretch, rules: Rules, tally: _Tally) -> Iterator[_Pick]:
    """Dips of one stretch from its top down; places count along its way."""
    piece, way, outlets = stretch.piece, stretch.way, stretch.outlets
    height, good = piece.height_m[way], stretch.fits[way].copy()
    along = np.arange(way.size) * piece.step_m
    # so close to the sag a dip has nothing left to do
    good[along > along[-1] - rules.value("road_dip.from_crossing")] = False
    gentle = 1.0 - outlets.slope[way] / rules.high("road_dip.outlet_slope")
    last = 0
    while True:
        far = along[last + 1 :] - along[last]
        mean = np.maximum((height[last] - height[last + 1 :]) / far, 0.0)
        spacing = _spacing_m(mean, erosive=stretch.erosive)
        due = np.flatnonzero(far >= spacing)
        if not due.size:
            return
        wanted, grade = float(spacing[due[0]]), float(mean[due[0]])
        usable = good[last + 1 :]
        window = np.flatnonzero(usable & (far >= _CLOSEST_SHARE * wanted) & (far <= wanted))
        beyond = np.flatnonzero(usable & (far > wanted))
        if window.size:
            worth = far[window] / wanted + gentle[last + 1 :][window]
            at = last + 1 + int(window[np.argmax(worth)])
        elif beyond.size:
            at = last + 1 + int(beyond[0])
        else:
            tally.undrained_m += float(along[-1] - along[last])
            return
        yield _Pick(at, last, grade, wanted)
        last = at


def _spacing_m(grade: FloatArray, *, erosive: bool) -> FloatArray:
    """Distance to the next dip; on steeper stretches than a dip may have, that of cross drains."""
    usual = dip_spacing_m(grade, erosive=erosive).chosen_m
    steep = rolling_dip_spacing_m(grade, erosive=erosive)
    spacing = np.where(grade > ROLLING_DIP_GRADE, steep, usual)
    return np.where(np.isnan(spacing), np.inf, spacing)


def _row(
    stretch: _Stretch, pick: _Pick, following: int, cells: IntArray, ground: Ground
) -> dict[str, Any]:
    """Everything about one dip."""
    piece, way, outlets = stretch.piece, stretch.way, stretch.outlets
    i = int(way[pick.at])
    down = 1 if way[-1] > way[0] else -1
    from_last = (pick.at - pick.last) * piece.step_m
    range_of = dip_spacing_m(min(pick.mean_grade, ROLLING_DIP_GRADE), erosive=stretch.erosive)
    steep = pick.mean_grade > ROLLING_DIP_GRADE
    row: dict[str, Any] = {
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
        "spacing_low_m": pick.spacing_m if steep else float(range_of.low_m),
        "spacing_high_m": pick.spacing_m if steep else float(range_of.high_m),
        "road_area_m2": from_last * ground.rules.value("road_dip.road_width"),
        "land_ha": _land_ha(cells[way[pick.last : pick.at + 1]], ground),
    }
    is_first = pick.last == 0
    return {
        **row,
        "reason": _reason(row, is_first),
        "cautions": _cautions(row, ground.rules),
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


def _reason(row: dict[str, Any], is_first: bool) -> str:
    since = "the top of this stretch" if is_first else "the dip above"
    spread = ""
    if row["spacing_high_m"] > row["spacing_low_m"]:
        spread = f" (the rules give {metres(row['spacing_low_m'])} to "
        spread += f"{metres(row['spacing_high_m'])})"
    return (
        f"The road falls at {percent(row['grade'])} here, and at {percent(row['mean_grade'])} on "
        f"the mean below {since}. For that the rule for {ROLLING_DIP} lets water run "
        f"{metres(row['spacing_m'])} along it{spread}; this place is {metres(row['from_last_m'])} "
        f"below {since}. The water leaves to the {row['side']}, looking down the road, where the "
        f"ground falls at {percent(row['outlet_slope'])}. {metres(row['road_area_m2'])[:-2]} m2 of "
        f"road, with all that drains onto it {hectares(row['land_ha'])}, come to the dip."
    )


def _cautions(row: dict[str, Any], rules: Rules) -> tuple[str, ...]:
    said = []
    if row["from_last_m"] > row["spacing_m"]:
        said.append(
            f"No place closer by lets the water out: the dip lies "
            f"{metres(row['from_last_m'] - row['spacing_m'])} farther down than the rule allows."
        )
    if row["land_ha"] > rules.value("road_dip.land"):
        said.append(
            f"{hectares(row['land_ha'])} of land drain onto this piece of road, more than a road's "
            "own water: find where it comes onto the road, and turn it away or lead it across."
        )
    if row["outlet_slope"] > rules.low("road_dip.outlet_stone"):
        said.append(
            f"The ground at the outlet falls at {percent(row['outlet_slope'])}: lay stone where "
            "the water leaves the road."
        )
    return tuple(said)


@dataclass(slots=True)
class _Tally:
    """What was looked at, in metres of road."""

    length_m: float = 0.0
    steep_m: float = 0.0
    closed_m: float = 0.0
    undrained_m: float = 0.0

    def add(self, piece: RoadPiece, fits: BoolArray, outlets: Outlets) -> None:
        self.length_m += float(piece.station_m[-1] - piece.station_m[0])
        self.steep_m += float((np.abs(piece.grade) > ROLLING_DIP_GRADE).sum() * piece.step_m)
        self.closed_m += float((fits & (outlets.side == 0)).sum() * piece.step_m)

    def notes(self) -> tuple[str, ...]:
        if not self.length_m:
            return ()
        notes = [f"{metres(self.length_m)} of road were looked at for rolling dips."]
        if self.steep_m:
            notes.append(
                f"{metres(self.steep_m)} of it are steeper than {percent(ROLLING_DIP_GRADE)}: no "
                "dip holds there; move the road, or have water bars built."
            )
        if self.closed_m:
            notes.append(
                f"On {metres(self.closed_m)} that are steep enough for dips the water cannot leave "
                "the road: no side falls away gently, or a channel or pond lies too near."
            )
        if self.undrained_m:
            notes.append(
                f"{metres(self.undrained_m)} at the foot of stretches should have a further dip, "
                "but no place for one was found."
            )
        return tuple(notes)


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
            columns[f.name] = np.array(values, dtype=np.int64 if "Int" in kind else np.float64)
    return RoadDips(**columns, notes=notes)
