"""What stands beside a map: legend, scale bar, north arrow, grid."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from cli import palette
from cli.figures.drawing import (
    DASHES,
    POINTS_PER_MM,
    Drawn,
    draw_shapes,
    headcut_shape,
    outline,
    site_shape,
)
from cli.palette import SiteSymbol
from cli.plan.fields import FOOT_M, MILE_M
from cli.plan.relief import round_length

_ROW, _TEXT_X, _SHAPE_X = 0.27, 0.62, 0.27  # inches
_TEXT_PT = 8.5
_CONTROL_WORDS = {
    "vertical": "Vertical control: stop a drop",
    "grade": "Grade control: hold the bed",
    "spread": "Spreading: slow the flow",
    "hold": "Hold: measure again",
    "refer": "Refer to an engineer",
}


@dataclass(frozen=True, slots=True)
class LegendWanted:
    """What the map shows and its legend must therefore explain."""

    symbols: Collection[SiteSymbol] = ()
    unsure: bool = False
    headcuts: bool = False
    channels: bool = False
    incomplete: bool = False
    ranch: bool = False
    roads: bool = False
    pools: Collection[str | None] = ()
    gullies: bool = False
    footprints: bool = False
    contour_words: str = ""
    unnumbered: int = 0
    referred: bool = False
    look_first: bool = False
    ranks: bool = True


def in_legend_order(symbols: Collection[SiteSymbol]) -> list[SiteSymbol]:
    """Shapes in the order of a legend: those of controls first, each once."""
    order = [s.control for s in palette.SITE_SYMBOLS]
    once = {symbol.key: symbol for symbol in symbols}.values()
    return sorted(once, key=lambda s: (bool(s.own_key), order.index(s.control), s.key))


def fitting(words: str, most: int = 38) -> str:
    """Cut words that another package chose to what a legend has room for."""
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}\N{HORIZONTAL ELLIPSIS}"


class _Column:
    """Writes legend rows downwards on an axes whose unit is the inch."""

    def __init__(self, axes: Axes, top: float, half_pt: float) -> None:
        self.axes, self.y, self.half_pt = axes, top, half_pt

    def heading(self, text: str) -> None:
        self.y -= 0.10
        self._write(0.0, text, weight="bold")

    def note(self, text: str) -> None:
        self._write(0.0, text, size=_TEXT_PT - 1)

    def shape(self, drawn: Drawn, text: str) -> None:
        path, fill, edge = drawn
        draw_shapes(
            self.axes,
            [path],
            np.array([[_SHAPE_X, self.y]]),
            fills=[fill],
            edges=[edge],
            half_pt=self.half_pt,
        )
        self._write(_TEXT_X, text)

    def line(self, colour: str, width_pt: float, text: str, *, dashed: bool = False) -> None:
        line = Line2D([0.06, 0.48], [self.y] * 2, color=colour, linewidth=width_pt)
        line.set_linestyle(DASHES if dashed else "solid")
        line.set_solid_capstyle("butt")
        self.axes.add_line(line)
        self._write(_TEXT_X, text)

    def road(self, text: str) -> None:
        for colour, width_mm in (
            (palette.ROAD, palette.ROAD_WIDTH_MM),
            (palette.WHITE, palette.ROAD_INSIDE_MM),
        ):
            line = Line2D([0.06, 0.48], [self.y] * 2, color=colour)
            line.set_linewidth(width_mm * POINTS_PER_MM)
            line.set_solid_capstyle("butt")
            self.axes.add_line(line)
        self._write(_TEXT_X, text)

    def patch(self, colour: str, opacity: float, text: str) -> None:
        corner, size = (0.06, self.y - 0.07), (0.42, 0.14)
        self.axes.add_patch(Rectangle(corner, *size, facecolor=colour, alpha=opacity, linewidth=0))
        self._write(_TEXT_X, text)

    def _write(
        self, x: float, text: str, *, weight: str = "normal", size: float = _TEXT_PT
    ) -> None:
        self.axes.text(
            x, self.y, text, va="center", ha="left", fontsize=size, weight=weight, color=palette.INK
        )
        self.y -= _ROW


def draw_legend(axes: Axes, top: float, wanted: LegendWanted, *, half_pt: float) -> float:
    """Explain what the map shows, in the shapes and sizes of the map.

    Parameters
    ----------
    axes
        Axes whose data unit is the inch on paper.
    top
        Height of the first row, inches.
    wanted
        What to explain.
    half_pt
        Size of the shapes, points.

    Returns
    -------
    float
        Height of the row after the last, inches.
    """
    column = _Column(axes, top, half_pt)
    if wanted.symbols:
        column.heading("Ranked sites")
        _explain_sites(column, wanted)
    column.heading("Ground")
    _explain_ground(column, wanted)
    return column.y


def _explain_sites(column: _Column, wanted: LegendWanted) -> None:
    """Shapes of the sites, and what is said about their numbers."""
    for symbol in in_legend_order(wanted.symbols):
        words = symbol.label if symbol.own_key else _CONTROL_WORDS[symbol.control]
        column.shape(site_shape(symbol, 1.0, float("nan")), fitting(words))
    if wanted.unsure:
        unsure = (outline(palette.SITE_SYMBOLS[0].rings), palette.WHITE, palette.INK)
        column.shape(unsure, "Outline only: unsure, look first")
    if wanted.ranks:
        column.note("The number is the rank, 1 first.")
    if wanted.referred:
        column.note("E: for an engineer, most at risk first.")
    if wanted.unnumbered:
        number = "number is" if wanted.unnumbered == 1 else "numbers are"
        column.note(f"{wanted.unnumbered} {number} left out where crowded.")


def _explain_ground(column: _Column, wanted: LegendWanted) -> None:
    """What is on the ground, and what a structure does to it."""
    if wanted.headcuts:
        column.shape(headcut_shape(1.0, float("nan")), "Headcut: a sudden drop in the bed")
    if wanted.channels:
        width = palette.channel_width_mm(30.0) * POINTS_PER_MM
        column.line(palette.CHANNEL, width, "Channel, wider with its area")
        if wanted.incomplete:
            column.line(palette.CHANNEL, width, "Its area is cut by the raster", dashed=True)
    for kind, colour, words in (
        ("pool", palette.CHANNEL, "Still pool behind a structure"),
        ("wedge", palette.OCHRE, "Sediment fills this and the pool"),
    ):
        if kind in wanted.pools:
            column.patch(colour, palette.WEDGE_OPACITY, words)
    if wanted.gullies:
        column.patch(palette.CONTOUR, palette.GULLY_OPACITY, "Gully")
    if wanted.footprints:
        column.patch(palette.CHARCOAL, palette.BODY_OPACITY, "Structure to scale, in its colour")
    if wanted.roads:
        column.road("Road")
    if wanted.look_first:
        column.line(palette.OCHRE, 1.2, "L: may be filling again, look first", dashed=True)
    if wanted.ranch:
        column.line(palette.RANCH, palette.RANCH_WIDTH_MM * POINTS_PER_MM, "Ranch boundary")
    if wanted.contour_words:
        column.line(palette.CONTOUR, 0.9, wanted.contour_words)


def _length_words(length: float, unit: str, big: float, big_unit: str) -> str:
    return f"{length / big:g} {big_unit}" if length >= big else f"{length:g} {unit}"


def draw_scale_bar(axes: Axes, y: float, *, metres_per_inch: float, widest: float) -> None:
    """Draw one bar in metres and one in feet or miles below it, from the same zero.

    Parameters
    ----------
    axes
        Axes whose data unit is the inch on paper.
    y
        Height of the line between the two bars, inches.
    metres_per_inch
        Scale of the map.
    widest
        Longest bar, inches.
    """
    metric = round_length(widest * metres_per_inch)
    feet = widest * metres_per_inch / FOOT_M
    # Miles once half a mile fits, feet below that.
    if feet * FOOT_M >= MILE_M / 2:
        miles = round_length(feet * FOOT_M / MILE_M)
        us, us_words = miles * MILE_M, f"{miles:g} mi"
    else:
        length = round_length(feet)
        us, us_words = length * FOOT_M, f"{length:g} ft"
    bars = (
        (metric, _length_words(metric, "m", 1000.0, "km"), 0.075, "bottom"),
        (us, us_words, -0.075, "top"),
    )
    for length, words, lift, side in bars:
        inches = length / metres_per_inch
        low = y if lift > 0 else y + lift
        axes.bar(
            [inches / 4, inches * 3 / 4],
            [abs(lift)] * 2,
            width=inches / 2,
            bottom=low,
            color=[palette.INK, palette.WHITE],
            edgecolor=palette.INK,
            linewidth=0.7,
        )
        text_y = y + lift * 1.6
        for at, text in ((0.0, "0"), (inches, words)):
            axes.text(
                at,
                text_y,
                text,
                ha="left" if at == 0 else "center",
                va=side,
                fontsize=7.5,
                color=palette.INK,
            )


def draw_north(axes: Axes, x: float, y: float) -> None:
    """Draw an arrow to grid north, half an inch high."""
    axes.annotate(
        "",
        xy=(x, y + 0.5),
        xytext=(x, y),
        arrowprops={
            "arrowstyle": "-|>,head_width=0.28,head_length=0.6",
            "color": palette.INK,
            "linewidth": 1.3,
            "shrinkA": 0,
            "shrinkB": 0,
        },
    )
    axes.text(
        x, y + 0.56, "N", ha="center", va="bottom", fontsize=9, weight="bold", color=palette.INK
    )


def draw_grid(axes: Axes, bounds: tuple[float, float, float, float]) -> None:
    """Label round coordinates along the frame and mark where they cross."""
    west, south, east, north = bounds
    step = round_length(max(east - west, north - south) / 4)
    xs = np.arange(np.ceil(west / step), np.floor(east / step) + 1) * step
    ys = np.arange(np.ceil(south / step), np.floor(north / step) + 1) * step
    axes.set_xticks(xs, [_coordinate(x, "E") for x in xs])
    axes.set_yticks(ys, [_coordinate(y, "N") for y in ys])
    axes.tick_params(labelsize=7, length=4, width=0.7, colors=palette.INK, direction="out")
    for text in axes.get_yticklabels():
        text.set_rotation(90)
        text.set_verticalalignment("center")
    cross_x, cross_y = np.meshgrid(xs, ys)
    axes.plot(
        cross_x.ravel(),
        cross_y.ravel(),
        linestyle="none",
        marker="+",
        markersize=7,
        markeredgewidth=0.6,
        color=palette.INK,
        alpha=0.55,
        zorder=2.0,
    )


def _coordinate(value: float, side: str) -> str:
    return f"{value:,.0f}".replace(",", " ") + f" {side}"
