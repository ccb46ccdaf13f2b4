"""The map of the loops: ground, channels, sites by rank, and the way with its direction."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import Normal, Stroke, withStroke
from numpy.typing import NDArray

from cli import palette
from cli.figures.ground_drawing import draw_ground
from cli.figures.map_features import draw_features, hide_under_shapes
from cli.figures.map_furniture import draw_grid, draw_legend, draw_north, draw_scale_bar
from cli.figures.map_sheet import PANEL, map_sheet, picture, save, write_texts
from cli.plan.fields import Units
from cli.plan.layers import Layer
from cli.plan.relief import Bounds
from cli.waypoints.looks import loop_look
from cli.waypoints.walk_words import far, long, stops_on
from cli.waypoints.waypoint import Waypoint, names_by_site
from siting.values.wording import counted
from siting.walking.walk import Walk
from terrain.values.raster import Raster

_LINE_PT, _TEXT_PT, _ROW = 1.7, 8.5, 0.27
#: Layers that a walker needs; pools and footprints are too small to see here.
_SHOWN = ("channels", "ranch", "sites", "roads", "structure_types", "referred")
_ARROW_EVERY_IN = 0.9


def walk_map(
    raster: Raster,
    layers: Mapping[str, Layer],
    walk: Walk,
    points: Sequence[Waypoint],
    *,
    path: str | os.PathLike[str],
    title: str,
    source_line: str,
    units: Units = "si",
) -> Path:
    """Draw the loops as a PNG; the same input gives the same bytes.

    Parameters
    ----------
    raster
        Elevations, m.
    layers
        Layers of the plan by name.
    walk
        The loops.
    points
        What is visited, with the stop that each belongs to.
    path
        File to write.
    title, source_line
        Heading, and what the map is made from.
    units
        Units of contours and distances.

    Raises
    ------
    OutputError
        The file cannot be written; an old file is then as it was.
    """
    with picture(path, overwrite=False) as part:
        save(_draw(raster, layers, walk, points, title, source_line, units), part)
    return Path(path)


def _draw(
    raster: Raster,
    layers: Mapping[str, Layer],
    walk: Walk,
    points: Sequence[Waypoint],
    title: str,
    source_line: str,
    units: Units,
) -> Figure:
    shown = {name: layers[name] for name in _SHOWN if name in layers and layers[name].rows}
    shown["sites"] = _visited(layers["sites"], walk)
    sheet = map_sheet(_bounds(walk))
    axes, panel = sheet.axes, sheet.panel
    words, texts = draw_ground(axes, raster, sheet.bounds, units)
    draw_grid(axes, sheet.bounds)
    _draw_loops(axes, walk, shown["sites"], sheet.metres_per_inch)
    if len(walk.loops) > 1:
        _name_loops(axes, walk, shown["sites"])
    wanted, half_pt = draw_features(axes, shown)
    hide_under_shapes(axes, texts, shown, half_pt)
    wanted = replace(wanted, contour_words=words)
    low = draw_legend(panel, sheet.height - 0.02, wanted, half_pt=half_pt)
    _loop_legend(panel, low, walk, names_by_site(points), units)
    draw_scale_bar(panel, 0.32, metres_per_inch=sheet.metres_per_inch, widest=PANEL - 0.85)
    draw_north(panel, PANEL - 0.2, 0.1)
    panel.set(xlim=(0, PANEL), ylim=(0, sheet.height))
    write_texts(sheet.figure, title, source_line, crs=raster.grid.crs)
    return sheet.figure


def _visited(sites: Layer, walk: Walk) -> Layer:
    """Only the sites that the walk leads to."""
    there = np.isin(sites.columns["site_id"], [leg.to_site or -1 for leg in walk.legs])
    columns = {name: values[there] for name, values in sites.columns.items()}
    return Layer(
        sites.name, None if sites.geometry is None else sites.geometry[there], columns, sites.crs
    )


def _bounds(walk: Walk) -> Bounds:
    """Bounds of all ways with a margin."""
    xy = np.vstack([leg.line for leg in walk.legs])
    (west, south), (east, north) = xy.min(axis=0).tolist(), xy.max(axis=0).tolist()
    pad = max(0.06 * max(east - west, north - south), 20.0)
    return west - pad, south - pad, east + pad, north + pad


def _draw_loops(axes: Axes, walk: Walk, sites: Layer, metres_per_inch: float) -> None:
    for number, legs in enumerate(walk.loops, start=1):
        colour, dashes = loop_look(number)
        line = np.vstack([legs[0].line[:1], *(leg.line[1:] for leg in legs)])
        (drawn,) = axes.plot(*line.T, color=colour, linewidth=_LINE_PT, zorder=4.4)
        drawn.set_linestyle(dashes)
        drawn.set_path_effects(
            [Stroke(linewidth=_LINE_PT + 1.6, foreground=palette.WHITE, alpha=0.85), Normal()]
        )
        _arrows(axes, line, colour, metres_per_inch * _ARROW_EVERY_IN)
    start = (walk.start.x_m, walk.start.y_m)
    axes.plot(*start, **_START, zorder=6.2)
    right, up = _free_side(axes, start, sites)
    text = axes.annotate(
        "Start",
        start,
        xytext=(7 * right, 7 * up),
        textcoords="offset points",
        ha="left" if right > 0 else "right",
        va="bottom" if up > 0 else "top",
        fontsize=_TEXT_PT,
        weight="bold",
        color=palette.INK,
        zorder=6.3,
    )
    text.set_path_effects([withStroke(linewidth=2.4, foreground=palette.WHITE)])


def _free_side(axes: Axes, start: tuple[float, float], sites: Layer) -> tuple[int, int]:
    """Side of the start where words are farthest from sites and their ranks: right 1, up 1."""
    at = axes.transData.transform(shapely.get_coordinates(sites.geometry))
    pixel = axes.figure.dpi / 72.0
    # A rank stands mostly to the upper right of its site.
    taken = np.vstack([at, at + np.array([11.0, 5.0]) * pixel])
    here = axes.transData.transform(start)

    def room(side: tuple[int, int]) -> float:
        words = here + np.array([24.0 * side[0], 12.0 * side[1]]) * pixel
        return float(np.hypot(*(taken - words).T).min())

    return max(((1, -1), (-1, -1), (1, 1), (-1, 1)), key=room)


_START: dict[str, Any] = {
    "marker": "o",
    "markersize": 8,
    "markerfacecolor": palette.WHITE,
    "markeredgecolor": palette.INK,
    "markeredgewidth": 2.2,
    "linestyle": "none",
}


def _arrows(axes: Axes, line: NDArray[np.float64], colour: str, every_m: float) -> None:
    """Small heads along the way that show which way it is walked."""
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    for at in np.arange(every_m / 2, along[-1], every_m):
        tail, head = (
            [float(np.interp(s, along, line[:, k])) for k in (0, 1)]
            for s in (at - every_m / 12, at + every_m / 12)
        )
        if tail == head:
            continue
        axes.annotate(
            "",
            xy=(head[0], head[1]),
            xytext=(tail[0], tail[1]),
            arrowprops={
                "arrowstyle": "-|>,head_width=0.30,head_length=0.55",
                "color": colour,
                "linewidth": 0.0,
                "shrinkA": 0,
                "shrinkB": 0,
            },
            zorder=4.5,
        )


def _name_loops(axes: Axes, walk: Walk, sites: Layer) -> None:
    """Write each loop's name on its line, where the sites and other names are farthest off."""
    taken = [shapely.get_coordinates(sites.geometry), [(walk.start.x_m, walk.start.y_m)]]
    for number, legs in enumerate(walk.loops, start=1):
        line = np.vstack([legs[0].line[:1], *(leg.line[1:] for leg in legs)])
        spots = shapely.get_coordinates(shapely.segmentize(shapely.linestrings(line), 10.0))
        others = np.vstack(taken)
        apart = np.hypot(*(spots[:, None] - others[None]).transpose(2, 0, 1)).min(axis=1)
        best = spots[int(apart.argmax())]
        taken.append([tuple(best)])
        text = axes.text(
            float(best[0]),
            float(best[1]),
            str(number),
            ha="center",
            va="center_baseline",
            fontsize=7.5,
            weight="bold",
            color=palette.WHITE,
            zorder=4.7,
        )
        box = {"boxstyle": "circle,pad=0.25", "edgecolor": palette.WHITE, "linewidth": 1.2}
        text.set_bbox({**box, "facecolor": loop_look(number)[0]})


def _loop_legend(
    panel: Axes, top: float, walk: Walk, by_site: Mapping[int, Waypoint], units: Units
) -> None:
    """One row a loop: its line, stops, length and time; what finds no room is counted."""
    y = top - 0.10
    panel.text(0.0, y, "Walk", fontsize=_TEXT_PT, weight="bold", va="center", color=palette.INK)
    y -= _ROW
    panel.plot([0.27], [y], **_START)
    panel.text(0.62, y, "Start and end", fontsize=_TEXT_PT, va="center", color=palette.INK)
    y -= _ROW
    loops = walk.loops
    room = max(int((y - 0.95) / _ROW) + 1, 1)
    for number, legs in enumerate(loops[: room if len(loops) <= room else room - 1], start=1):
        colour, dashes = loop_look(number)
        panel.add_line(
            Line2D([0.06, 0.48], [y, y], color=colour, linewidth=_LINE_PT, linestyle=dashes)
        )
        stay_s = 60 * walk.minutes_per_site * (len(legs) - 1)
        words = (
            f"{number}: {counted(stops_on(legs, by_site), 'stop')}, "
            f"{far(sum(x.distance_m for x in legs), units)}, "
            f"{long(sum(x.walk_s for x in legs) + stay_s)}"
        )
        panel.text(0.62, y, words, fontsize=_TEXT_PT, va="center", color=palette.INK)
        y -= _ROW
    if len(loops) > room:
        more = f"and {len(loops) - room + 1} more loops"
        panel.text(0.62, y, more, fontsize=_TEXT_PT, va="center", color=palette.INK)
