"""Drawing the ground of a map: hillshade and labelled contours."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from numpy.typing import NDArray

from cli import palette
from cli.plan.fields import FOOT_M, Units
from cli.plan.relief import Bounds, Relief, contour_interval, hillshade, relief_of, smooth
from terrain.values.raster import Raster


def draw_ground(
    axes: Axes, raster: Raster, bounds: Bounds, units: Units, *, soft: bool = False
) -> tuple[str, list[Text]]:
    """Draw hillshade and contours; return the legend's words and the labels of the contours.

    With ``soft`` the shade runs from cell to cell, for pictures in which each cell is large.
    """
    relief = relief_of(raster, bounds)
    axes.imshow(
        hillshade(relief),
        extent=relief.extent,
        origin="upper",
        interpolation="bilinear" if soft else "antialiased",
        aspect="auto",
        zorder=1.0,
    )
    unit, factor = ("ft", 1.0 / FOOT_M) if units == "us" else ("m", 1.0)
    z = smooth(relief, passes=6) * factor
    known = z[np.isfinite(z)]
    if not known.size or min(z.shape) < 2:
        return "", []
    low, high = float(known.min()), float(known.max())
    interval = contour_interval(high - low)
    levels = np.arange(np.ceil(low / interval), np.floor(high / interval) + 1) * interval
    if not len(levels):
        return "", []
    texts = _draw_contours(axes, relief, z, levels, interval)
    return f"Contour, every {interval:g} {unit}", texts


def _draw_contours(
    axes: Axes, relief: Relief, z: NDArray[Any], levels: NDArray[Any], interval: float
) -> list[Text]:
    rows, cols = np.arange(relief.grid.rows), np.arange(relief.grid.cols)
    x, _ = relief.grid.xy(np.zeros_like(cols), cols)
    _, y = relief.grid.xy(rows, np.zeros_like(rows))
    fifth = np.isclose(np.round(levels / interval) % 5, 0)
    heavy = levels[fifth] if fifth.sum() >= 2 else levels
    # A half-resolution grid is plenty for the lines and halves the time twice over.
    step = 2 if min(z.shape) > 700 else 1
    lines = axes.contour(
        x[::step],
        y[::step],
        z[::step, ::step],
        levels=levels,
        colors=palette.CONTOUR,
        linewidths=[0.8 if level in heavy else 0.4 for level in levels],
        alpha=0.75,
        zorder=1.5,
    )
    texts = axes.clabel(lines, levels=heavy, fmt=lambda v: f"{v:g}", fontsize=6.5, inline_spacing=2)
    for text in texts:
        text.set(zorder=1.6, color=palette.INK)
        text.set_path_effects([withStroke(linewidth=1.6, foreground="#F4F1EA")])
    return list(texts)
