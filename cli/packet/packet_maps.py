"""Maps of a packet as SVG: the whole ranch on the cover, and the surroundings of each site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from cli import palette
from cli.figures.backdrop import Backdrop
from cli.figures.drawing import POINTS_PER_MM
from cli.figures.map_features import draw_features, hide_under_shapes
from cli.figures.map_furniture import LegendWanted, draw_north, draw_scale_bar
from cli.packet.packet_pictures import svg_of
from cli.plan.fields import FOOT_M, Units
from cli.plan.layers import Layer
from cli.plan.relief import Bounds, round_length
from cli.plan.structure_looks import TABLE as TYPES

_LAYERS = (
    "pools",
    "structures",
    "channels",
    "ranch",
    "headcuts",
    "sites",
    "roads",
    "referred",
    "look_first",
)
#: Inches about the map: coordinates to the left and below, and the scale bar under them.
_LEFT, _RIGHT, _TOP, _TICKS, _BAR = 0.24, 0.04, 0.04, 0.22, 0.44
#: A site's map shows so much ground from side to side at least, m.
SITE_MAP_M = 110.0


@dataclass(frozen=True, slots=True)
class MapForm:
    """Size and make of a map.

    Parameters
    ----------
    width, height
        Of the whole picture, inches.
    image_dpi
        Fineness of the shaded relief.
    small
        Whether the scale bar stands within the map, to save room.
    """

    width: float
    height: float
    image_dpi: int
    small: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class PacketMap:
    """A map, what its legend has to explain, and the words about its contours."""

    svg: bytes
    wanted: LegendWanted
    contour_words: str
    roads: bool


def ranch_bounds(layers: Mapping[str, Layer]) -> Bounds:
    """Bounds of the ranch and all sites, with a margin, m."""
    parts = [
        layers[name].geometry for name in ("ranch", "sites") if name in layers and layers[name].rows
    ]
    west, south, east, north = shapely.total_bounds(
        np.concatenate([p for p in parts if p is not None])
    ).tolist()
    pad = max(0.04 * max(east - west, north - south), 20.0)
    return west - pad, south - pad, east + pad, north + pad


def draw_map(
    layers: Mapping[str, Layer],
    backdrop: Backdrop,
    *,
    bounds: Bounds,
    form: MapForm,
    units: Units,
    mark: tuple[float, float] | None = None,
) -> PacketMap:
    """Draw a map of some bounds, which are widened to its shape.

    Parameters
    ----------
    layers
        Layers of the plan by name.
    backdrop
        The ground behind it.
    bounds
        West, south, east and north that must be seen, m.
    form
        Its size and make.
    units
        Units of contours.
    mark
        Place to ring, m.
    """
    width, height, small = form.width, form.height, form.small
    foot = _TICKS if small else _TICKS + _BAR
    map_w, map_h = width - _LEFT - _RIGHT, height - _TOP - foot
    bounds = _fitted(bounds, map_w / map_h)
    figure = Figure(figsize=(width, height), dpi=72, facecolor=palette.WHITE)
    FigureCanvasSVG(figure)
    axes = figure.add_axes((_LEFT / width, foot / height, map_w / width, map_h / height))
    axes.set(xlim=(bounds[0], bounds[2]), ylim=(bounds[1], bounds[3]), facecolor=palette.PAPER)
    shown = _within(layers, bounds)
    contour_words, texts = backdrop.draw(axes, bounds, units)
    per_inch = (bounds[2] - bounds[0]) / map_w
    _draw_grid(axes, bounds, per_inch)
    if "roads" in shown:
        _draw_roads(axes, shown["roads"])
    if mark is not None:
        _draw_ring(axes, mark)
    wanted, half_pt = draw_features(axes, shown)
    hide_under_shapes(axes, texts, shown, half_pt)
    corners = _Corners(axes, shown)
    if small:
        _draw_scale_in(figure, corners, per_inch)
    else:
        below = figure.add_axes((_LEFT / width, 0.0, map_w / width, _BAR / height))
        below.set_axis_off()
        draw_scale_bar(below, _BAR / 2, metres_per_inch=per_inch, widest=min(0.6 * map_w, 3.0))
        below.set(xlim=(0, map_w), ylim=(0, _BAR))
    _draw_north_in(figure, corners, small=small)
    return PacketMap(
        svg_of(figure, image_dpi=form.image_dpi), wanted, contour_words, "roads" in shown
    )


def sheet_of(bounds: Bounds, width: float, height: float) -> tuple[float, float]:
    """Size of a picture that a map of some bounds fills, at most so large; inches."""
    west, south, east, north = bounds
    room_w, room_h = width - _LEFT - _RIGHT, height - _TOP - _TICKS - _BAR
    # A very long or narrow ranch is shown with some ground beside it.
    shape = min(max((east - west) / (north - south), 0.75), 2.2)
    map_w = min(room_w, room_h * shape)
    return width - room_w + map_w, height - room_h + map_w / shape


def site_bounds(point: Any, structure_m: float) -> Bounds:
    """Bounds of the map about a site: wide enough to find it by what lies around, m."""
    half = max(SITE_MAP_M, 4 * structure_m) / 2
    return point.x - half, point.y - half, point.x + half, point.y + half


def _fitted(bounds: Bounds, shape: float) -> Bounds:
    """Widen bounds to a ratio of width to height."""
    west, south, east, north = bounds
    wide, high = east - west, north - south
    wide, high = max(wide, high * shape), max(high, wide / shape)
    x, y = (west + east) / 2, (south + north) / 2
    return x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


def _within(layers: Mapping[str, Layer], bounds: Bounds) -> dict[str, Layer]:
    """Features that reach into the map, and how their types are drawn."""
    box = shapely.box(*bounds)
    out = {name: layers[name] for name in (TYPES,) if name in layers}
    for name in _LAYERS:
        layer = layers.get(name)
        if layer is None or not layer.rows or layer.geometry is None:
            continue
        keep = shapely.intersects(layer.geometry, box)
        if keep.any():
            columns = {key: values[keep] for key, values in layer.columns.items()}
            out[name] = Layer(name, layer.geometry[keep], columns, layer.crs)
    return out


def _draw_roads(axes: Axes, roads: Layer) -> None:
    """Draw roads as two thin grey lines."""
    lines = [shapely.get_coordinates(line) for line in roads.geometry]  # type: ignore[union-attr]
    for colour, width in (
        (palette.ROAD, palette.ROAD_WIDTH_MM),
        (palette.WHITE, palette.ROAD_INSIDE_MM),
    ):
        axes.add_collection(
            LineCollection(
                lines, colors=colour, linewidths=width * POINTS_PER_MM * 1.5, zorder=2.4
            ),
            autolim=False,
        )


def _draw_ring(axes: Axes, at: tuple[float, float]) -> None:
    """Draw a wide ring about a place, dark on white, so that it is found at once."""
    for colour, width in ((palette.WHITE, 4.2), (palette.INK, 1.5)):
        axes.plot(
            *at, marker="o", markersize=25, markerfacecolor="none", markeredgecolor=colour,
            markeredgewidth=width, zorder=4.6,
        )  # fmt: skip


def _round_within(low: float, high: float, step: float) -> NDArray[np.float64]:
    """Multiples of a step between two ends, those left out whose words would pass the frame."""
    first, last = np.ceil((low + 0.35 * step) / step), np.floor((high - 0.35 * step) / step)
    return np.arange(first, last + 1) * step


def _draw_grid(axes: Axes, bounds: Bounds, per_inch: float) -> None:
    """Mark round coordinates along the frame and where they cross, at least 0.8 inches apart."""
    west, south, east, north = bounds
    step = round_length(0.8 * per_inch)
    while step < 0.8 * per_inch:
        step = round_length(2.5 * step)
    xs, ys = _round_within(west, east, step), _round_within(south, north, step)
    axes.set_xticks(xs, [_grouped(x, "E") for x in xs])
    axes.set_yticks(ys, [_grouped(y, "N") for y in ys])
    axes.tick_params(labelsize=6.4, length=3, width=0.6, pad=2, colors=palette.INK)
    for text in axes.get_yticklabels():
        text.set(rotation=90, verticalalignment="center")
    cross_x, cross_y = np.meshgrid(xs, ys)
    axes.plot(
        cross_x.ravel(), cross_y.ravel(), linestyle="none", marker="+", markersize=6,
        markeredgewidth=0.6, color=palette.INK, alpha=0.6, zorder=2.0,
    )  # fmt: skip


def _grouped(value: float, side: str) -> str:
    return f"{value:,.0f}".replace(",", " ") + f" {side}"


def _white_corner(figure: Figure, x: float, y: float, wide: float, high: float) -> Axes:
    """Axes on a white ground over the map, without ticks or frame; inches."""
    width, height = figure.get_size_inches()
    corner = figure.add_axes((x / width, y / height, wide / width, high / height))
    corner.set(xlim=(0, wide), ylim=(0, high), xticks=[], yticks=[], facecolor=palette.WHITE)
    corner.patch.set_alpha(0.88)
    for spine in corner.spines.values():
        spine.set_visible(False)
    return corner


class _Corners:
    """Corners of a map; the one that hides least is taken first."""

    def __init__(self, axes: Axes, shown: Mapping[str, Layer]) -> None:
        figure = axes.figure
        box = axes.get_window_extent()
        self._frame = [v / figure.dpi for v in (box.x0, box.y0, box.x1, box.y1)]
        points = [
            axes.transData.transform(shapely.get_coordinates(shown[name].geometry)) / figure.dpi
            for name in ("sites", "headcuts", "ranch")
            if name in shown
        ]
        self._points = np.concatenate([np.empty((0, 2)), *points])
        self._taken: set[tuple[int, int]] = set()

    def take(self, wide: float, high: float, first: tuple[int, int]) -> tuple[float, float]:
        """Lower left of a box in a free corner, inches; ``first`` is right and up, 0 or 1."""
        order = [first, (1 - first[0], first[1]), (first[0], 1 - first[1])]
        order.append((1 - first[0], 1 - first[1]))

        def hidden(corner: tuple[int, int]) -> int:
            x, y = self._place(corner, wide, high)
            near = 0.18  # a shape and its number
            px, py = self._points.T
            inside = (px > x - near) & (px < x + wide + near)
            return int((inside & (py > y - near) & (py < y + high + near)).sum())

        best = min((c for c in order if c not in self._taken), key=hidden)
        self._taken.add(best)
        return self._place(best, wide, high)

    def _place(self, corner: tuple[int, int], wide: float, high: float) -> tuple[float, float]:
        west, south, east, north = self._frame
        x = east - wide - 0.04 if corner[0] else west + 0.04
        return x, north - high - 0.04 if corner[1] else south + 0.04


def _draw_north_in(figure: Figure, corners: _Corners, *, small: bool) -> None:
    """Draw the arrow to grid north in a corner of the map."""
    wide, high = (0.24, 0.56) if small else (0.32, 0.80)
    corner = _white_corner(figure, *corners.take(wide, high, (1, 1)), wide, high)
    # The arrow is half a unit high.
    corner.set(xlim=(0, 0.32), ylim=(0, 0.92 if small else 0.80))
    draw_north(corner, 0.16, 0.06)


def _draw_scale_in(figure: Figure, corners: _Corners, per_inch: float) -> None:
    """Draw the scale bar in a corner of the map."""
    longest = 1.3
    bars = (round_length(longest * per_inch), round_length(longest * per_inch / FOOT_M) * FOOT_M)
    wide = max(bars) / per_inch + 0.34
    corner = _white_corner(figure, *corners.take(wide, 0.46, (0, 0)), wide, 0.46)
    draw_scale_bar(corner, 0.23, metres_per_inch=per_inch, widest=longest)
    corner.set(xlim=(-0.08, wide - 0.08), ylim=(0, 0.46))
