"""Sites of a plan as points to walk to, with what a person needs to know there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer

from cli.file_errors import OutputError
from cli.palette import SiteSymbol
from cli.plan.explanation import ROAD
from cli.plan.fields import Units
from cli.plan.plan_numbers import amount, span
from cli.plan.plan_reading import PlanFile
from cli.plan.plan_works import REFERRED, is_built, not_built, site_groups, tells_works
from cli.plan.structure_looks import StructureLooks, looks_of
from cli.waypoints.xml_texts import plain, sentences

NAME_MOST, NOTE_MOST = 60, 600
_CAUTION_MOST, _REASON_MOST = 220, 220
#: A site's measures and how they are said.
_SIZES = (
    ("structure_height_m", "{} {high}"),
    ("structure_length_m", "{} along the {way}"),
    ("headcut_height_m", "drop of {}"),
    ("width_m", "channel {} wide"),
)


@dataclass(frozen=True, slots=True)
class Waypoint:
    """A site to walk to.

    Parameters
    ----------
    site_id
        Its number.
    mark
        Rank of its work, or what stands for it where nothing is built.
    lon, lat
        WGS 84, degrees.
    x_m, y_m
        In the plan's coordinate system, m.
    elevation_m
        As the raster gives it, m; NaN where unknown.
    name
        Mark, kind of the work and what to build, short; of several sites in one work numbered.
    what
        What to build.
    sizes, why, careful
        Plain sentences in the plan's units; may be empty.
    control
        What it is for.
    symbol
        Its shape.
    confidence
        How sure it is, 0 to 1.
    stop_id
        Sites with one number are one stop: those of a work, or in an older plan of a pair; 0 for
        a site by itself.
    build_order
        As in the plan.
    heading
        Number of the site and where it stands, in a sentence.
    """

    site_id: int
    mark: str
    lon: float
    lat: float
    x_m: float
    y_m: float
    elevation_m: float
    name: str
    what: str
    sizes: str
    why: str
    careful: str
    control: str
    symbol: SiteSymbol
    confidence: float
    stop_id: int
    build_order: int
    heading: str

    @property
    def note(self) -> str:
        """All that is said about it, in one paragraph."""
        parts = [self.heading, self.sizes, self.why]
        if self.careful:
            parts.append(f"Careful: {self.careful}")
        return plain(" ".join(p for p in parts if p), NOTE_MOST)


def to_degrees(crs: CRS | None, xy: ArrayLike) -> NDArray[np.float64]:
    """Turn x and y in a plan's system, m, into longitude and latitude, shape ``(n, 2)``."""
    if crs is None:
        raise OutputError("the plan has no coordinate system", expected="one")
    at = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    mover = Transformer.from_crs(crs, CRS.from_epsg(4326), always_xy=True)
    # As lists: pyproj takes an array of one place for a number.
    return np.column_stack(mover.transform(at[:, 0].tolist(), at[:, 1].tolist()))


def waypoints_of(plan: PlanFile, *, top: int | None = None) -> list[Waypoint]:
    """Sites of a plan in the order of its list: works by rank, each in the order of building.

    Parameters
    ----------
    plan
        The plan; where a site was moved in a GIS, its point counts and not its lon and lat.
    top
        Only the sites of so many works, the best; all, and what is not built, by default. In a plan
        of an older format so many sites.

    Raises
    ------
    OutputError
        The plan has no sites, or one lies nowhere on the Earth.
    """
    layer = plan.layers["sites"]
    if not layer.rows or layer.geometry is None:
        raise OutputError(
            f"{plan.name} has no sites, so there is nowhere to walk to",
            do="screen a larger part, or a finer raster",
        )
    xy = shapely.get_coordinates(layer.geometry)
    degrees = to_degrees(layer.crs, xy)
    if not np.isfinite(degrees).all():
        raise OutputError(f"{plan.name} has a site that lies outside its coordinate system")
    rows = plan.rows("sites")
    labels = _labels(plan)
    order = np.argsort(layer.columns["list_place"], kind="stable").tolist()
    if top is not None and tells_works(plan.layers):
        first = {int(s["site_id"]) for g in site_groups(plan.layers)[:top] for s in g.sites}
        order = [i for i in order if int(rows[i]["site_id"]) in first]
    else:
        order = order[:top]
    if not order:
        raise OutputError(
            f"{plan.name} has no works: nothing there is for hands to build", do="leave out --top"
        )
    looks = looks_of(plan.layers)
    return [
        _waypoint(rows[i], xy[i], degrees[i], labels[int(rows[i]["site_id"])], plan.units, looks)
        for i in order
    ]


@dataclass(frozen=True, slots=True)
class _Label:
    """What leads the name of a site, what it is called beside ranks, its sentence and its stop."""

    lead: str
    mark: str
    heading: str
    stop_id: int


def _labels(plan: PlanFile) -> dict[int, _Label]:
    groups, waiting = site_groups(plan.layers), not_built(plan.layers)
    marks = [str(g.rank) for g in groups] + [w.mark for w in waiting if w.referred is None]
    digits = max((len(m) for m in marks), default=1)
    out = {}
    for group in groups:
        mark, count = str(group.rank), len(group.sites)
        for at, site in enumerate(group.sites, start=1):
            number = int(site["site_id"])
            lead, heading = mark.zfill(digits), f"Site {number}, rank {mark}."
            if group.work is not None:
                lead += f".{at}" if count > 1 else ""
                lead += f" {plain(group.work['kind'], 20)}:"
                heading = f"Site {number}, work {group.work['work_id']}, rank {mark}"
                heading += f", number {at} of {count}." if count > 1 else "."
            stop = site["pair_id"] if group.work is None else group.work["work_id"]
            out[number] = _Label(lead, mark, heading, int(stop))
    for one in waiting:
        number = int(one.site["site_id"])
        if one.referred is not None:
            place = one.referred["risk_rank"]
            heading = f"Site {number}, number {place} of what an engineer looks at."
        else:
            rank = int(one.site["rank"])
            heading = f"Site {number}, rank {rank}." if rank else f"Site {number}, on hold."
        lead = one.mark.zfill(digits) if one.mark.isdigit() else one.mark
        stop = 0 if tells_works(plan.layers) else int(one.site["pair_id"])
        out[number] = _Label(lead, one.mark, heading, stop)
    return out


def _waypoint(
    row: Mapping[str, Any],
    xy: NDArray[np.float64],
    degrees: NDArray[np.float64],
    label: _Label,
    units: Units,
    looks: StructureLooks,
) -> Waypoint:
    control = str(row["control"] or "")
    look = looks.of(row["structure"])
    what = plain(look.label, NAME_MOST).replace("_", " ") or "site"
    if control == REFERRED:
        what = "ask an engineer"
    elif not is_built(row):
        what = "on hold"
    return Waypoint(
        site_id=int(row["site_id"]),
        mark=label.mark,
        lon=float(degrees[0]),
        lat=float(degrees[1]),
        x_m=float(xy[0]),
        y_m=float(xy[1]),
        elevation_m=float(row["elevation_m"]),
        name=plain(f"{label.lead} {what}", NAME_MOST),
        what=what,
        sizes=_sizes(row, what, units, high=look.height_word),
        why=sentences(row["reason"], _REASON_MOST),
        careful=sentences(row["caution"], _CAUTION_MOST),
        control=control,
        symbol=looks.symbol(control, row["structure"]),
        confidence=float(row["confidence"]),
        stop_id=label.stop_id,
        build_order=int(row["build_order"]),
        heading=label.heading,
    )


def _sizes(row: Mapping[str, Any], what: str, units: Units, *, high: str = "high") -> str:
    on_road = row["purpose"] == ROAD
    way = "road" if on_road else "channel"
    said = [
        words.format(amount("sites", name, row[name], units), high=high, way=way)
        for name, words in _SIZES
        if math.isfinite(row[name]) and row[name] > 0 and not (on_road and name == "width_m")
    ]
    wide = span(row["width_low_m"], row["width_high_m"], units)
    if wide != "-":
        said.append(f"channel {wide} wide, measure it")
    head = f"Build: {what}"
    if row["control"] == REFERRED:
        head = "Do not build here by hand: ask an engineer"
    elif not is_built(row):
        head = "On hold: do not build here now"
    return ", ".join([head, *said]) + "."


def names_by_site(points: Sequence[Waypoint]) -> dict[int, Waypoint]:
    """Waypoints by the number of their site."""
    return {point.site_id: point for point in points}
