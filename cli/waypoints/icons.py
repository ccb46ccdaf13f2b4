"""The project's site shapes as small pictures, for viewers that show a picture at a place."""

from __future__ import annotations

import io
from collections.abc import Iterable

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from cli.figures.drawing import draw_shapes, site_shape
from cli.waypoints.kml import look_of
from cli.waypoints.waypoint import Waypoint

_PIXELS = 64


def icons_of(points: Iterable[Waypoint]) -> tuple[dict[str, str], dict[str, bytes]]:
    """Draw an icon for every look among the points.

    Returns
    -------
    tuple
        Address by look, and PNG by address.
    """
    addresses, pictures = {}, {}
    for point in points:
        look = look_of(point)
        if look not in addresses:
            addresses[look] = f"icons/{look}.png"
            pictures[addresses[look]] = _icon(point)
    return addresses, pictures


def _icon(point: Waypoint) -> bytes:
    with mpl.rc_context():
        mpl.rcdefaults()
        figure = Figure(figsize=(1.0, 1.0), dpi=_PIXELS)
        figure.patch.set_alpha(0.0)
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(-1, 1), ylim=(-1, 1))
        axes.set_axis_off()
        path, fill, edge = site_shape(point.symbol, point.confidence, float("nan"))
        draw_shapes(axes, [path], np.zeros((1, 2)), fills=[fill], edges=[edge], half_pt=22.0)
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=_PIXELS, metadata={"Software": None})
    return out.getvalue()
