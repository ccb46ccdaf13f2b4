"""The flood of one storm over time: rain above, flow below."""

from __future__ import annotations

import os
import textwrap
import warnings
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from cli import palette
from cli.flood.flood_text import volume_text
from cli.plan.fields import CFS_M3S, Units, check_units
from cli.plan.safe_files import replacing
from siting.floods.unit_hydrograph import Hydrograph
from terrain.values.reader_units import quantity

_DPI = 160
_SIZE = (8.2, 5.2)
_SETTINGS: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 9.0,
    "axes.linewidth": 0.8,
    "axes.edgecolor": palette.INK,
}
#: Flows below this share of the peak are left out at both ends.
_SHOWN_SHARE = 0.005


def draw_hydrograph(
    flood: Hydrograph,
    *,
    path: str | os.PathLike[str],
    title: str,
    source_line: str,
    units: Units = "si",
    overwrite: bool = False,
) -> Path:
    """Draw rain, runoff and flow over time as a PNG; the same input gives the same bytes.

    Parameters
    ----------
    flood
        Hydrograph, SI.
    path
        File to write.
    title, source_line
        Above and below the picture.
    units
        ``si`` or ``us``.
    overwrite
        Whether an existing file may be replaced.

    Raises
    ------
    OutputError
        The file cannot be written; an old file is then as it was.
    """
    check_units(units)
    with (
        replacing(path, overwrite=overwrite) as part,
        warnings.catch_warnings(),
        mpl.rc_context(_SETTINGS),
    ):
        warnings.simplefilter("ignore")  # glyphs that the font lacks
        figure = Figure(figsize=_SIZE, dpi=_DPI, facecolor=palette.WHITE)
        FigureCanvasAgg(figure)
        rain = figure.add_axes((0.10, 0.66, 0.85, 0.19))
        flow = figure.add_axes((0.10, 0.19, 0.85, 0.45), sharex=rain)
        first, last = _span(flood)
        _draw_rain(rain, flood, units)
        _draw_flow(flow, flood, units)
        flow.set_xlim(first, last)
        figure.text(0.10, 0.93, title, fontsize=12, weight="bold", color=palette.INK)
        lines = "\n".join(textwrap.wrap(source_line, 120)[:2])
        figure.text(0.10, 0.075, lines, fontsize=7.5, color=palette.INK, va="top")
        figure.savefig(part, format="png", metadata={"Software": None})
    return Path(path)


def _span(flood: Hydrograph) -> tuple[float, float]:
    """Hours to show: from when the flow begins to when it has gone, with some room."""
    seen = np.flatnonzero(flood.flow_m3s > _SHOWN_SHARE * flood.peak_m3s)
    if not seen.size:
        return 0.0, float(flood.time_h[-1])
    first, last = float(flood.time_h[seen[0]]), float(flood.time_h[seen[-1]])
    room = 0.05 * max(last - first, 1.0)
    return max(0.0, first - room), last + room


def _draw_rain(axes: Axes, flood: Hydrograph, units: Units) -> None:
    step = float(flood.time_h[0])
    factor, unit = (1 / 25.4, "in/h") if units == "us" else (1.0, "mm/h")
    start = flood.time_h - step
    # hatched and filled, so that the two are told apart without colour
    axes.fill_between(
        np.append(start, flood.time_h[-1]),
        np.append(flood.rain_mm, 0.0) / step * factor,
        step="post",
        facecolor=palette.WHITE,
        edgecolor=palette.CHANNEL,
        hatch="////",
        linewidth=0.6,
        label="rain",
    )
    axes.fill_between(
        np.append(start, flood.time_h[-1]),
        np.append(flood.runoff_mm, 0.0) / step * factor,
        step="post",
        facecolor=palette.CHANNEL,
        linewidth=0,
        label="of which runs off",
    )
    axes.set_ylim(bottom=0.0)
    axes.invert_yaxis()
    axes.set_ylabel(f"rain, {unit}", color=palette.INK)
    axes.tick_params(labelbottom=False, colors=palette.INK)
    axes.legend(loc="lower right", fontsize=8, frameon=False)


def _draw_flow(axes: Axes, flood: Hydrograph, units: Units) -> None:
    factor, unit = (1 / CFS_M3S, "cfs") if units == "us" else (1.0, "m3/s")
    flows = flood.flow_m3s * factor
    axes.fill_between(flood.time_h, flows, color=palette.CHANNEL, alpha=0.15, linewidth=0)
    axes.plot(flood.time_h, flows, color=palette.CHANNEL, linewidth=1.6)
    at = int(np.argmax(flows))
    axes.plot(flood.time_h[at], flows[at], "o", color=palette.INK, markersize=4)
    axes.annotate(
        f"{quantity(flood.peak_m3s, 'm3/s', units=units)} at {flood.time_h[at]:.1f} hours",
        (float(flood.time_h[at]), float(flows[at])),
        xytext=(10, -2),
        textcoords="offset points",
        color=palette.INK,
    )
    axes.text(
        0.985,
        0.62,
        f"volume {volume_text(flood.volume_m3, units)}",
        transform=axes.transAxes,
        ha="right",
        color=palette.INK,
    )
    axes.set_ylim(0.0, 1.12 * max(float(flows.max()), 1e-9))
    axes.set_ylabel(f"flow, {unit}", color=palette.INK)
    axes.set_xlabel("hours since the storm began", color=palette.INK)
    axes.tick_params(colors=palette.INK)
