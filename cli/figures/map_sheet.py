"""A sheet with a map on it: its size, its margins, its words, and how it is written."""

from __future__ import annotations

import contextlib
import os
import textwrap
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from pyproj import CRS

from cli import palette
from cli.plan.relief import Bounds
from cli.plan.safe_files import replacing

DPI = 180
# Inches: margins, the column beside the map, and the most a map may take.
LEFT, RIGHT, TOP, BOTTOM, GAP, PANEL = 0.62, 0.25, 0.72, 0.78, 0.25, 2.85
_MAP_WIDTH, _MAP_HEIGHT, _LEAST = 8.6, 7.2, 5.4
_SETTINGS: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "axes.linewidth": 0.8,
    "axes.edgecolor": palette.INK,
    "path.simplify": True,
}


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """A sheet ready to draw on.

    Parameters
    ----------
    figure
        The whole sheet.
    axes
        The map.
    panel
        The column beside it; its data unit is the inch.
    bounds
        What the map shows: west, south, east, north, m.
    height
        Height of map and column, inches.
    metres_per_inch
        Scale of the map.
    """

    figure: Figure
    axes: Axes
    panel: Axes
    bounds: Bounds
    height: float
    metres_per_inch: float


@contextlib.contextmanager
def picture(path: str | os.PathLike[str], *, overwrite: bool) -> Iterator[Path]:
    """Give a name to save a picture under; settings of the drawing library are put back.

    Raises
    ------
    OutputError
        The file cannot be written; an old file is then as it was.
    """
    with replacing(path, overwrite=overwrite) as part, mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        with warnings.catch_warnings():
            # A name in a script that the font lacks is drawn with boxes, not refused.
            warnings.filterwarnings("ignore", message=r"Glyph .* missing from")
            yield part


def save(figure: Figure, part: Path, *, dpi: int = DPI) -> None:
    """Save a picture without a word of when and with what it was made."""
    figure.savefig(part, format="png", dpi=dpi, metadata={"Software": None})


def map_sheet(bounds: Bounds) -> Sheet:
    """Lay out a sheet for a map of some bounds, which are widened to fit it."""
    bounds, map_w, map_h = _fitted(bounds)
    width = LEFT + map_w + GAP + PANEL + RIGHT
    height = TOP + map_h + BOTTOM
    figure = Figure(figsize=(width, height), dpi=DPI, facecolor=palette.WHITE)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((LEFT / width, BOTTOM / height, map_w / width, map_h / height))
    axes.set(xlim=(bounds[0], bounds[2]), ylim=(bounds[1], bounds[3]), facecolor=palette.PAPER)
    panel = figure.add_axes(
        ((LEFT + map_w + GAP) / width, BOTTOM / height, PANEL / width, map_h / height)
    )
    panel.set(xlim=(0, PANEL), ylim=(0, map_h))
    panel.set_axis_off()
    return Sheet(figure, axes, panel, bounds, map_h, (bounds[2] - bounds[0]) / map_w)


def _fitted(bounds: Bounds) -> tuple[Bounds, float, float]:
    """Widen bounds to a shape that fits the sheet; return them and the map's size, inches."""
    west, south, east, north = bounds
    wide, high = east - west, north - south
    scale = max(wide / _MAP_WIDTH, high / _MAP_HEIGHT)
    map_w, map_h = max(wide / scale, _LEAST), max(high / scale, _LEAST)
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    half_w, half_h = map_w * scale / 2, map_h * scale / 2
    return (
        (middle_x - half_w, middle_y - half_h, middle_x + half_w, middle_y + half_h),
        map_w,
        map_h,
    )


def write_texts(figure: Figure, title: str, source_line: str, *, crs: CRS | None) -> None:
    """Write the heading, and what the map is made from."""
    width, height = figure.get_size_inches()
    size = min(16.0, 72 * (width - LEFT - RIGHT) / (0.62 * max(len(title), 1)))
    figure.text(
        LEFT / width,
        1 - 0.42 / height,
        title,
        fontsize=size,
        weight="bold",
        color=palette.INK,
        va="center",
        parse_math=False,
    )
    grid = f"Grid: {crs.name}, metres." if crs is not None else "Grid: metres, place unknown."
    lines = textwrap.wrap(f"{source_line} {grid}", int((width - LEFT - RIGHT) * 16))[:2]
    figure.text(
        LEFT / width,
        0.36 / height,
        "\n".join(lines),
        fontsize=7.5,
        color=palette.INK,
        va="top",
        linespacing=1.4,
        parse_math=False,
    )
