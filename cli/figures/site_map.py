"""A site from close up: structures to scale with their sizes, pool, sediment, headcut, channel."""

from __future__ import annotations

import math
import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from matplotlib.text import Text

from cli import palette
from cli.figures.backdrop import Backdrop, NoGround
from cli.figures.drawing import (
    draw_channels,
    draw_pools,
    draw_roads,
    draw_shapes,
    draw_structures,
    headcut_shape,
    site_shape,
)
from cli.figures.label_placing import Box, Wanted, place_apart
from cli.figures.map_features import symbols_of
from cli.figures.map_furniture import (
    LegendWanted,
    draw_grid,
    draw_legend,
    draw_north,
    draw_scale_bar,
)
from cli.figures.map_sheet import PANEL, map_sheet, picture, save, write_texts
from cli.plan.fields import Units, check_units
from cli.plan.layers import Layer
from cli.plan.relief import Bounds
from cli.plan.structure_looks import StructureLooks, looks_of
from terrain.values.reader_units import quantity

#: A picture shows at least so much ground from side to side, and this share of it as a margin.
LEAST_M, MARGIN = 24.0, 0.22
_SHAPE_PT, _TEXT_PT = 6.0, 8.0
#: How far labels may stand from what they name, points.
_REACHES_PT = (8.0, 16.0, 28.0, 44.0, 64.0, 90.0, 120.0)


@dataclass(frozen=True, slots=True)
class _Label:
    """Words for one site, and the box of its structure on the sheet, pixels."""

    text: str
    colour: str
    box: Box


def site_bounds(layers: Mapping[str, Layer], site_ids: Collection[int]) -> Bounds:
    """Bounds of a picture that shows some sites with all that belongs to them.

    Parameters
    ----------
    layers
        Layers of the plan.
    site_ids
        The sites.

    Returns
    -------
    tuple
        West, south, east and north, m.
    """
    shapes = []
    for name in ("sites", "structures", "structure_lines", "pools"):
        layer = layers.get(name)
        if layer is not None and layer.rows and layer.geometry is not None:
            shapes.append(layer.geometry[np.isin(layer.columns["site_id"], list(site_ids))])
    west, south, east, north = shapely.total_bounds(np.concatenate(shapes)).tolist()
    half = max((east - west) / 2, (north - south) / 2) * (1 + 2 * MARGIN)
    half = max(half, LEAST_M / 2)
    x, y = (west + east) / 2, (south + north) / 2
    return x - half, y - half, x + half, y + half


def site_map(
    layers: Mapping[str, Layer],
    site_ids: Collection[int],
    *,
    path: str | os.PathLike[str],
    title: str,
    source_line: str,
    behind: Backdrop | None = None,
    units: Units = "si",
    overwrite: bool = False,
) -> Path:
    """Draw some sites from close up as a PNG, within their `site_bounds`.

    The same input gives the same bytes.

    Parameters
    ----------
    layers
        Layers of the plan by name; those that are missing or empty are left out.
    site_ids
        The sites that it is about; others that lie within are drawn too.
    path
        File to write.
    title, source_line
        Above and below the map.
    behind
        The ground behind it; None draws none.
    units
        Units of sizes and contours.
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
    sheet = map_sheet(site_bounds(layers, site_ids))
    shown = {n: _within(layer, sheet.bounds) for n, layer in layers.items() if layer.rows}
    shown = {name: layer for name, layer in shown.items() if layer.rows}
    with picture(path, overwrite=overwrite) as part:
        sheet = map_sheet(sheet.bounds)
        axes, panel = sheet.axes, sheet.panel
        words, texts = (behind or NoGround()).draw(axes, sheet.bounds, units)
        draw_grid(axes, sheet.bounds)
        looks = looks_of(layers)
        wanted = _draw(axes, shown, looks)
        labels = _labels(axes, shown, site_ids, units, looks)
        boxes = [*_write_labels(axes, labels, _marks(axes, shown)), *_marks(axes, shown)]
        _hide_under(axes, texts, boxes)
        wanted = replace(wanted, contour_words=words)
        draw_legend(panel, sheet.height - 0.02, wanted, half_pt=_SHAPE_PT)
        draw_scale_bar(panel, 0.32, metres_per_inch=sheet.metres_per_inch, widest=PANEL - 0.85)
        draw_north(panel, PANEL - 0.2, 0.1)
        panel.set(xlim=(0, PANEL), ylim=(0, sheet.height))
        crs = next((layer.crs for layer in layers.values() if layer.crs is not None), None)
        write_texts(sheet.figure, title, source_line, crs=crs)
        save(sheet.figure, part)
    return Path(path)


def _within(layer: Layer, bounds: Bounds) -> Layer:
    """Features that reach into the picture; tables as they are."""
    if layer.geometry is None:
        return layer
    keep = shapely.intersects(layer.geometry, shapely.box(*bounds))
    columns = {name: values[keep] for name, values in layer.columns.items()}
    return Layer(layer.name, layer.geometry[keep], columns, layer.crs)


def _draw(axes: Axes, shown: Mapping[str, Layer], looks: StructureLooks) -> LegendWanted:
    """Draw what lies within, from the ground up; return what the legend must explain."""
    wanted = LegendWanted(ranks=False)
    if (roads := shown.get("roads")) is not None and roads.geometry is not None:
        draw_roads(axes, roads.geometry)
        wanted = replace(wanted, roads=True)
    if (pools := shown.get("pools")) is not None:
        draw_pools(axes, pools)
        wanted = replace(wanted, pools=set(pools.columns["kind"]))
    if (channels := shown.get("channels")) is not None and channels.geometry is not None:
        complete = channels.columns["area_complete"]
        draw_channels(axes, channels.geometry, channels.columns["drainage_area_ha"], complete)
        wanted = replace(wanted, channels=True, incomplete=not bool(complete.all()))
    if (structures := shown.get("structures")) is not None:
        draw_structures(axes, structures, line_pt=1.0)
        wanted = replace(wanted, footprints=True)
    if (heads := shown.get("headcuts")) is not None:
        columns = heads.columns
        drawn = [
            headcut_shape(c, a)
            for c, a in zip(columns["confidence"], columns["flow_azimuth_deg"], strict=True)
        ]
        _draw_all(axes, heads, drawn, zorder=4.0)
        wanted = replace(wanted, headcuts=True)
    if (sites := shown.get("sites")) is not None:
        bare = _without_footprint(sites, structures)
        symbols = symbols_of(bare, looks)
        names = ("confidence", "flow_azimuth_deg")
        rows = zip(symbols, *(bare.columns[n] for n in names), strict=True)
        _draw_all(axes, bare, [site_shape(*row) for row in rows], zorder=5.0)
        wanted = replace(wanted, symbols=symbols)
    return wanted


def _without_footprint(sites: Layer, structures: Layer | None) -> Layer:
    """Sites that have no footprint to show: these get their shape instead."""
    ids = sites.columns["site_id"]
    keep = ~np.isin(ids, [] if structures is None else structures.columns["site_id"])
    columns = {name: values[keep] for name, values in sites.columns.items()}
    assert sites.geometry is not None  # a layer of points
    return Layer(sites.name, sites.geometry[keep], columns, sites.crs)


def _draw_all(axes: Axes, layer: Layer, drawn: list[Any], *, zorder: float) -> None:
    draw_shapes(
        axes,
        [d[0] for d in drawn],
        shapely.get_coordinates(layer.geometry),
        fills=[d[1] for d in drawn],
        edges=[d[2] for d in drawn],
        half_pt=_SHAPE_PT,
        zorder=zorder,
    )


def _pixels(axes: Axes, shape: Any) -> Box:
    """Box around a shape on the sheet, pixels."""
    west, south, east, north = shapely.bounds(shape)
    (x0, y0), (x1, y1) = axes.transData.transform([(west, south), (east, north)])
    return float(x0), float(y0), float(x1), float(y1)


def _marks(axes: Axes, shown: Mapping[str, Layer]) -> list[Box]:
    """Boxes that labels keep clear of: shapes of points, footprints, pools and the channel."""
    half = 1.5 * _SHAPE_PT * axes.figure.dpi / 72.0
    boxes = []
    for name in ("headcuts", "sites"):
        for point in shown[name].geometry if name in shown else ():  # type: ignore[union-attr]
            x, y, _, _ = _pixels(axes, point)
            boxes.append((x - half, y - half, x + half, y + half))
    for name in ("structures", "pools"):
        for shape in shown[name].geometry if name in shown else ():  # type: ignore[union-attr]
            boxes += [_pixels(axes, piece) for piece in _pieces(shape)]
    for line in shown["channels"].geometry if "channels" in shown else ():  # type: ignore[union-attr]
        boxes += [_pixels(axes, piece) for piece in _pieces(line)]
    return boxes


def _pieces(shape: Any, parts: int = 40) -> list[Any]:
    """Cut what is long and bent into pieces, so that their boxes lie close to it."""
    if shape.geom_type == "LineString":
        at = np.linspace(0, shape.length, max(parts, int(shape.length)) + 1)
        points = shapely.line_interpolate_point(shape, at)
        xy = shapely.get_coordinates(points)
        return list(shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)))
    west, south, east, north = shape.bounds
    size = max(east - west, north - south) / 6
    cells = [
        shapely.box(
            west + i * size, south + j * size, west + (i + 1) * size, south + (j + 1) * size
        )
        for i in range(math.ceil((east - west) / size))
        for j in range(math.ceil((north - south) / size))
    ]
    cut = shapely.intersection(np.array(cells), shape)
    return [piece for piece in cut if not piece.is_empty and piece.area > 0]


def _labels(
    axes: Axes,
    shown: Mapping[str, Layer],
    site_ids: Collection[int],
    units: Units,
    looks: StructureLooks,
) -> list[_Label]:
    """Words for each site within, those that the picture is about first."""
    sites = shown.get("sites")
    if sites is None or sites.geometry is None:
        return []
    columns = sites.columns
    mine = np.isin(columns["site_id"], list(site_ids))
    crests = _crests(shown)
    labels = []
    for i in np.lexsort((columns["list_place"], ~mine)):
        number = int(columns["site_id"][i])
        row = {name: values[i] for name, values in columns.items()}
        shape = _footprint(shown, number)
        half = 1.3 * _SHAPE_PT * axes.figure.dpi / 72.0
        if shape is None:
            x, y, _, _ = _pixels(axes, sites.geometry[i])
            box = (x - half, y - half, x + half, y + half)
        else:
            box = _pixels(axes, shape)
        colour = palette.site_symbol(str(row["control"])).colour
        labels.append(_Label(_words(row, crests.get(number, math.nan), units, looks), colour, box))
    return labels


def _crests(shown: Mapping[str, Layer]) -> dict[int, float]:
    lines = shown.get("structure_lines")
    if lines is None:
        return {}
    pairs = zip(lines.columns["site_id"], lines.columns["crest_length_m"], strict=True)
    return {int(number): float(length) for number, length in pairs}


def _footprint(shown: Mapping[str, Layer], number: int) -> Any:
    structures = shown.get("structures")
    if structures is None or structures.geometry is None:
        return None
    mine = structures.geometry[structures.columns["site_id"] == number]
    return shapely.union_all(mine) if len(mine) else None


def _words(row: Mapping[str, Any], crest_m: float, units: Units, looks: StructureLooks) -> str:
    """Rank and structure, and its sizes below."""
    look = looks.of(row["structure"])
    sizes = [
        f"{quantity(float(value), 'm', units=units)} {word}"
        for word, value in (
            ("drop", row["headcut_height_m"]),
            (look.height_word, row["structure_height_m"]),
            ("along", row["structure_length_m"]),
            ("across", crest_m),
        )
        if math.isfinite(float(value))
    ]
    held = ", on hold" if row["control"] == "hold" else ""
    head = f"Site {row['site_id']}{held}: {look.label}"
    lines = [", ".join(sizes[i : i + 2]) for i in range(0, len(sizes), 2)]
    return "\n".join([head, *lines])


def _write_labels(axes: Axes, labels: list[_Label], marks: list[Box]) -> list[Box]:
    """Write the words beside the structures, each with a line to it; return their boxes."""
    pixel = axes.figure.dpi / 72.0
    frame = axes.get_window_extent()
    texts = [
        axes.text(
            0,
            0,
            label.text,
            fontsize=_TEXT_PT,
            color=palette.INK,
            ha="center",
            va="center",
            linespacing=1.25,
            zorder=7.0,
            parse_math=False,
            bbox={
                "boxstyle": "square,pad=0.3",
                "facecolor": palette.WHITE,
                "edgecolor": label.colour,
                "linewidth": 0.8,
                "alpha": 0.92,
            },
        )
        for label in labels
    ]
    wanted = []
    for label, text in zip(labels, texts, strict=True):
        size = text.get_window_extent()
        x0, y0, x1, y1 = label.box
        pad = 0.8 * _TEXT_PT * pixel
        wanted.append(
            Wanted(
                (x0 + x1) / 2,
                (y0 + y1) / 2,
                (x1 - x0) / 2,
                (y1 - y0) / 2,
                size.width + pad,
                size.height + pad,
            )
        )
    centres = place_apart(
        wanted,
        frame=(frame.x0 + 3, frame.y0 + 3, frame.x1 - 3, frame.y1 - 3),
        keep_clear=marks,
        reaches=[reach * pixel for reach in _REACHES_PT],
    )
    boxes = []
    for label, text, want, centre in zip(labels, texts, wanted, centres, strict=True):
        if centre is None:
            text.remove()
            continue
        at = axes.transData.inverted().transform([centre, (want.x, want.y)])
        text.set_position(tuple(at[0]))
        line = axes.plot(*at.T, color=label.colour, linewidth=0.9, zorder=6.5)[0]
        line.set_path_effects([withStroke(linewidth=2.2, foreground=palette.WHITE)])
        half_w, half_h = want.width / 2, want.height / 2
        x, y = centre
        boxes.append((x - half_w, y - half_h, x + half_w, y + half_h))
    return boxes


def _hide_under(axes: Axes, texts: list[Text], boxes: list[Box]) -> None:
    """Hide labels of contours that something else stands on."""
    reach = 12 * axes.figure.dpi / 72.0
    for text in texts:
        x, y = axes.transData.transform(text.get_position())
        text.set_visible(
            not any(
                x0 < x + reach and x1 > x - reach and y0 < y + reach and y1 > y - reach
                for x0, y0, x1, y1 in boxes
            )
        )
