"""The map of a ranch: ground, channels, headcuts and ranked sites on one sheet."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from matplotlib.figure import Figure

from cli.figures.ground_drawing import draw_ground
from cli.figures.map_features import draw_features, hide_under_shapes
from cli.figures.map_furniture import draw_grid, draw_legend, draw_north, draw_scale_bar
from cli.figures.map_sheet import PANEL, map_sheet, picture, save, write_texts
from cli.plan.fields import Units, check_units
from cli.plan.layers import Layer
from cli.plan.relief import Bounds
from terrain.values.raster import Raster


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
    with picture(path, overwrite=overwrite) as part:
        save(_draw(raster, layers, title, source_line, units), part)
    return Path(path)


def _draw(
    raster: Raster, layers: Mapping[str, Layer], title: str, source_line: str, units: Units
) -> Figure:
    shown = {name: layer for name, layer in layers.items() if layer.rows}
    sheet = map_sheet(_interest(raster, shown))
    axes, panel = sheet.axes, sheet.panel
    contour_words, contour_texts = draw_ground(axes, raster, sheet.bounds, units)
    draw_grid(axes, sheet.bounds)
    wanted, half_pt = draw_features(axes, shown)
    hide_under_shapes(axes, contour_texts, shown, half_pt)
    wanted = replace(wanted, contour_words=contour_words)
    draw_legend(panel, sheet.height - 0.02, wanted, half_pt=half_pt)
    draw_scale_bar(panel, 0.32, metres_per_inch=sheet.metres_per_inch, widest=PANEL - 0.85)
    draw_north(panel, PANEL - 0.2, 0.1)
    panel.set(xlim=(0, PANEL), ylim=(0, sheet.height))
    write_texts(sheet.figure, title, source_line, crs=raster.grid.crs)
    return sheet.figure


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
