"""Drawing the project's shapes and lines on a matplotlib axes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.path import Path as MplPath
from matplotlib.transforms import Affine2D, Transform
from numpy.typing import NDArray

from cli import palette
from cli.palette import Ring, SiteSymbol
from cli.plan.layers import Layer

POINTS_PER_MM = 72.0 / 25.4
#: Outline, fill and edge colour of a shape.
Drawn = tuple[MplPath, str, str]
#: Dashes of a channel whose drainage area is cut off, points on and off.
DASHES = (0, (5.0, 3.0))


def outline(rings: tuple[Ring, ...], *, turn_deg: float = 0.0) -> MplPath:
    """Make one path of all rings, turned clockwise."""
    vertices: list[tuple[float, float]] = []
    codes: list[Any] = []
    for ring in rings:
        vertices += [*ring, ring[0]]
        codes += [MplPath.MOVETO, *[MplPath.LINETO] * (len(ring) - 1), MplPath.CLOSEPOLY]
    path = MplPath(np.array(vertices), codes)
    return path.transformed(Affine2D().rotate_deg(-turn_deg)) if turn_deg else path


def downhill_turn(azimuth_deg: float) -> float:
    """Clockwise turn that points a shape's foot, drawn to the south, down the flow."""
    return azimuth_deg - 180.0 if math.isfinite(azimuth_deg) else 0.0


def draw_shapes(
    axes: Axes,
    paths: Sequence[MplPath],
    places: NDArray[Any],
    *,
    fills: Sequence[str],
    edges: Sequence[str],
    half_pt: float,
    places_in: Transform | None = None,
    zorder: float = 5.0,
) -> None:
    """Draw shapes of the unit box at places, each with a white halo.

    Parameters
    ----------
    axes
        Where to draw.
    paths, fills, edges
        One a shape.
    places
        x and y, shape ``(n, 2)``, in data units unless ``places_in`` says otherwise.
    half_pt
        Size of one unit of the unit box, points.
    """
    if not len(paths):
        return
    size = Affine2D().scale(half_pt * axes.figure.dpi / 72.0)
    offset = axes.transData if places_in is None else places_in
    line_pt = max(0.7, half_pt * 0.17)
    for halo in (True, False):
        shapes = PathCollection(
            paths,
            offsets=places,
            offset_transform=offset,
            facecolors=palette.WHITE if halo else fills,
            edgecolors=palette.WHITE if halo else edges,
            linewidths=line_pt + 2.2 if halo else line_pt,
            joinstyle="round" if halo else "miter",
            zorder=zorder if halo else zorder + 0.1,
            clip_on=True,
        )
        shapes.set_transform(size)
        axes.add_collection(shapes, autolim=False)


def site_shape(symbol: SiteSymbol, confidence: float, azimuth_deg: float) -> Drawn:
    """Outline, fill and edge of a site: filled when sure, outline only when not."""
    turn = downhill_turn(azimuth_deg) if symbol.turns else 0.0
    unsure = confidence < palette.LOW_CONFIDENCE
    fill = palette.WHITE if unsure else symbol.colour
    return outline(symbol.rings, turn_deg=turn), fill, symbol.colour


def headcut_shape(confidence: float, azimuth_deg: float) -> Drawn:
    """Outline, fill and edge of a headcut, teeth downstream."""
    unsure = confidence < palette.LOW_CONFIDENCE
    fill = palette.WHITE if unsure else palette.HEADCUT
    path = outline((palette.COMB,), turn_deg=downhill_turn(azimuth_deg))
    return path, fill, palette.HEADCUT


def draw_channels(
    axes: Axes, lines: NDArray[Any], area_ha: NDArray[Any], complete: NDArray[np.bool_]
) -> None:
    """Draw channels, wider where more land drains to them, dashed where the area is cut."""
    coordinates = [shapely.get_coordinates(line) for line in lines]
    widths = [
        palette.channel_width_mm(float(np.nan_to_num(a, nan=1.0))) * POINTS_PER_MM for a in area_ha
    ]
    for whole in (True, False):
        some = np.flatnonzero(complete == whole)
        if not len(some):
            continue
        axes.add_collection(
            LineCollection(
                [coordinates[i] for i in some],
                colors=palette.CHANNEL,
                linewidths=[widths[i] for i in some],
                linestyles="solid" if whole else [DASHES],
                capstyle="round" if whole else "butt",
                zorder=3.0,
            ),
            autolim=False,
        )


def draw_roads(axes: Axes, lines: NDArray[Any]) -> None:
    """Draw roads as two thin grey lines with the ground's paper between them."""
    # All edges first, so that roads run into each other where they meet.
    for colour, width_mm, zorder in (
        (palette.ROAD, palette.ROAD_WIDTH_MM, 1.55),
        (palette.WHITE, palette.ROAD_INSIDE_MM, 1.56),
    ):
        axes.add_collection(
            LineCollection(
                [shapely.get_coordinates(line) for line in lines],
                colors=colour,
                linewidths=width_mm * POINTS_PER_MM,
                capstyle="butt",
                joinstyle="round",
                zorder=zorder,
            ),
            autolim=False,
        )


def draw_ranch(axes: Axes, shapes: NDArray[Any]) -> None:
    """Draw the boundary of the ranch."""
    parts = shapely.get_parts(list(shapes))  # shapely before 2.2 takes no read-only array here
    rings = [shapely.get_coordinates(r) for r in shapely.get_rings(parts)]
    axes.add_collection(
        LineCollection(
            rings,
            colors=palette.RANCH,
            linewidths=palette.RANCH_WIDTH_MM * POINTS_PER_MM,
            joinstyle="round",
            zorder=3.6,
        ),
        autolim=False,
    )


def draw_polygons(
    axes: Axes,
    shapes: NDArray[Any],
    colours: Sequence[str],
    opacities: Sequence[float],
    *,
    line_pt: float,
    zorder: float,
) -> None:
    """Draw polygons to scale, each filled with its colour; no outline where its width is 0."""
    if not len(shapes):
        return
    faces = [
        (*(int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)), o)
        for c, o in zip(colours, opacities, strict=True)
    ]
    axes.add_collection(
        PathCollection(
            [_area(shape) for shape in shapes],
            facecolors=faces,
            edgecolors=colours if line_pt else "none",
            linewidths=line_pt,
            joinstyle="round",
            zorder=zorder,
        ),
        autolim=False,
    )


def _area(shape: Any) -> MplPath:
    """One path of all rings of a polygon, holes left open."""
    parts = shapely.get_parts(shapely.normalize(shape))  # holes run the other way
    rings = [shapely.get_coordinates(r) for r in shapely.get_rings(parts)]
    codes = [
        np.array([MplPath.MOVETO, *[MplPath.LINETO] * (len(r) - 2), MplPath.CLOSEPOLY])
        for r in rings
    ]
    return MplPath(np.concatenate(rings), np.concatenate(codes))


def draw_looks(axes: Axes, lines: NDArray[Any]) -> None:
    """Draw reaches that may be filling again as dashed lines beside their channel's colour."""
    axes.add_collection(
        LineCollection(
            [shapely.get_coordinates(line) for line in lines],
            colors=palette.OCHRE,
            linewidths=2.0,
            linestyles=[(0, (3, 1.6))],
            capstyle="butt",
            zorder=3.2,
        ),
        autolim=False,
    )


def draw_gullies(axes: Axes, gullies: Layer) -> None:
    """Draw gullies faintly, in the colour of the ground's lines."""
    if gullies.geometry is None:
        return
    n = gullies.rows
    draw_polygons(
        axes,
        gullies.geometry,
        [palette.CONTOUR] * n,
        [palette.GULLY_OPACITY] * n,
        line_pt=0.3,
        zorder=2.0,
    )


def draw_pools(axes: Axes, pools: Layer) -> None:
    """Draw pools in blue, and in ochre what sediment fills beyond them."""
    if pools.geometry is None:
        return
    is_pool = pools.columns["kind"] == "pool"
    water = pools.geometry[is_pool]
    beyond = shapely.difference(pools.geometry[~is_pool], shapely.union_all(water))
    beyond = beyond[shapely.area(beyond) > 0]
    for shapes, colour in ((beyond, palette.OCHRE), (water, palette.CHANNEL)):
        count = len(shapes)
        draw_polygons(
            axes, shapes, [colour] * count, [palette.WEDGE_OPACITY] * count, line_pt=0.0, zorder=2.6
        )


def draw_structures(axes: Axes, structures: Layer, *, line_pt: float) -> None:
    """Draw footprints to scale in the colour of their control, the bodies darker."""
    if structures.geometry is None:
        return
    columns = structures.columns
    draw_polygons(
        axes,
        structures.geometry,
        [palette.site_symbol(control).colour for control in columns["control"]],
        [palette.BODY_OPACITY if body else palette.PART_OPACITY for body in columns["is_body"]],
        line_pt=line_pt,
        zorder=3.8,
    )
