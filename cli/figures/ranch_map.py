"""The map of a ranch: ground, channels, headcuts and ranked sites on one sheet."""

from __future__ import annotations

import os
import textwrap
import warnings
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from cli import palette
from cli.fields import Units, check_units
from cli.figures.features import draw_features, hide_under_shapes
from cli.figures.furniture import draw_grid, draw_legend, draw_north, draw_scale_bar
from cli.figures.ground import draw_ground
from cli.figures.relief import Bounds
from cli.layers import Layer
from cli.safe_files import replacing
from terrain.raster import Raster

_DPI = 180
# Inches: margins, the column beside the map, and the most a map may take.
_LEFT, _RIGHT, _TOP, _BOTTOM, _GAP, _PANEL = 0.62, 0.25, 0.72, 0.78, 0.25, 2.85
_MAP_WIDTH, _MAP_HEIGHT, _LEAST = 8.6, 7.2, 5.4
_SETTINGS: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "axes.linewidth": 0.8,
    "axes.edgecolor": palette.INK,
    "path.simplify": True,
}


def ranch_map(
    raster: Raster,
    layers: Mapping[str, Layer],
    *,
    path: str | os.PathLike[str],
    title: str,
    source_line: str,
    units: Units = "si",
    overwrite: bool = False,
) -> Path:
    """Draw the map of a ranch as a PNG; the same input gives the same bytes.

    Parameters
    ----------
    raster
        Elevations, m.
    layers
        Layers of the plan by name; those that are missing or empty are left out.
    path
        File to write.
    title
        Heading, such as the name of the ranch.
    source_line
        Which elevation raster, cell size and date, in words.
    units
        Units of the contours.
    overwrite
        Whether an existing file may be replaced.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        The file cannot be written; an old file is then as it was.
    """
    check_units(units)
    with replacing(path, overwrite=overwrite) as part, mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        with warnings.catch_warnings():
            # A name in a script that the font lacks is drawn with boxes, not refused.
            warnings.filterwarnings("ignore", message=r"Glyph .* missing from")
            figure = _draw(raster, layers, title, source_line, units)
            figure.savefig(part, format="png", dpi=_DPI, metadata={"Software": None})
    return Path(path)


def _draw(
    raster: Raster, layers: Mapping[str, Layer], title: str, source_line: str, units: Units
) -> Figure:
    shown = {name: layer for name, layer in layers.items() if layer.rows}
    bounds, map_w, map_h = _sheet(_interest(raster, shown))
    width = _LEFT + map_w + _GAP + _PANEL + _RIGHT
    height = _TOP + map_h + _BOTTOM
    figure = Figure(figsize=(width, height), dpi=_DPI, facecolor=palette.WHITE)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((_LEFT / width, _BOTTOM / height, map_w / width, map_h / height))
    axes.set(xlim=(bounds[0], bounds[2]), ylim=(bounds[1], bounds[3]), facecolor=palette.PAPER)
    contour_words, contour_texts = draw_ground(axes, raster, bounds, units)
    draw_grid(axes, bounds)
    wanted, half_pt = draw_features(axes, shown)
    hide_under_shapes(axes, contour_texts, shown, half_pt)
    panel = figure.add_axes(
        ((_LEFT + map_w + _GAP) / width, _BOTTOM / height, _PANEL / width, map_h / height)
    )
    panel.set(xlim=(0, _PANEL), ylim=(0, map_h))
    panel.set_axis_off()
    metres_per_inch = (bounds[2] - bounds[0]) / map_w
    draw_legend(panel, map_h - 0.02, replace(wanted, contour_words=contour_words), half_pt=half_pt)
    draw_scale_bar(panel, 0.32, metres_per_inch=metres_per_inch, widest=_PANEL - 0.85)
    draw_north(panel, _PANEL - 0.2, 0.1)
    panel.set(xlim=(0, _PANEL), ylim=(0, map_h))
    _write_texts(figure, raster, title, source_line)
    return figure


def _interest(raster: Raster, layers: Mapping[str, Layer]) -> Bounds:
    """Bounds of what the map is about: the ranch and its sites, or else the known ground."""
    if "ranch" not in layers:
        rows = np.flatnonzero(raster.valid.any(axis=1))
        cols = np.flatnonzero(raster.valid.any(axis=0))
        if not len(rows):
            return raster.grid.bounds
        half_w, half_h = raster.grid.cell_width_m / 2, raster.grid.cell_height_m / 2
        x, y = raster.grid.xy(rows[[-1, 0]], cols[[0, -1]])
        return x[0] - half_w, y[0] - half_h, x[1] + half_w, y[1] + half_h
    parts = [layers[name].geometry for name in ("ranch", "sites") if name in layers]
    west, south, east, north = shapely.total_bounds(
        np.concatenate([p for p in parts if p is not None])
    )
    pad = 0.04 * max(east - west, north - south)
    return west - pad, south - pad, east + pad, north + pad


def _sheet(bounds: Bounds) -> tuple[Bounds, float, float]:
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


def _write_texts(figure: Figure, raster: Raster, title: str, source_line: str) -> None:
    width, height = figure.get_size_inches()
    size = min(16.0, 72 * (width - _LEFT - _RIGHT) / (0.62 * max(len(title), 1)))
    figure.text(
        _LEFT / width,
        1 - 0.42 / height,
        title,
        fontsize=size,
        weight="bold",
        color=palette.INK,
        va="center",
        parse_math=False,
    )
    crs = raster.grid.crs
    grid = f"Grid: {crs.name}, metres." if crs is not None else "Grid: metres, place unknown."
    lines = textwrap.wrap(f"{source_line} {grid}", int((width - _LEFT - _RIGHT) * 16))[:2]
    figure.text(
        _LEFT / width,
        0.36 / height,
        "\n".join(lines),
        fontsize=7.5,
        color=palette.INK,
        va="top",
        linespacing=1.4,
        parse_math=False,
    )
