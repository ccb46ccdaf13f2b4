"""Drawing what a plan holds on a map: channels, ranch, headcuts, and sites with their ranks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from numpy.typing import NDArray

from cli import palette
from cli.figures.drawing import (
    Drawn,
    draw_channels,
    draw_gullies,
    draw_looks,
    draw_pools,
    draw_ranch,
    draw_roads,
    draw_shapes,
    draw_structures,
    headcut_shape,
    site_shape,
)
from cli.figures.label_placing import Box, Wanted, place_labels
from cli.figures.map_furniture import LegendWanted
from cli.palette import SiteSymbol
from cli.plan.layers import Layer
from cli.plan.structure_looks import StructureLooks, looks_of

_RANK_PT = 8.5
#: A text and its place, x and y.
Label = tuple[str, list[float]]


def draw_features(axes: Axes, layers: Mapping[str, Layer]) -> tuple[LegendWanted, float]:
    """Draw lines and shapes; return what the legend must explain and the size of the shapes."""
    wanted = LegendWanted()
    sites, heads = layers.get("sites"), layers.get("headcuts")
    most = max(sites.rows if sites else 0, heads.rows if heads else 0)
    half_pt = float(np.clip(5.4 * (60 / max(most, 60)) ** 0.35, 2.8, 5.4))
    if (roads := layers.get("roads")) is not None and roads.geometry is not None:
        draw_roads(axes, roads.geometry)
        wanted = replace(wanted, roads=True)
    if (gullies := layers.get("gullies")) is not None and gullies.rows:
        draw_gullies(axes, gullies)
        wanted = replace(wanted, gullies=True)
    if (pools := layers.get("pools")) is not None:
        draw_pools(axes, pools)
        wanted = replace(wanted, pools=set(pools.columns["kind"]))
    if (structures := layers.get("structures")) is not None:
        draw_structures(axes, structures, line_pt=0.3)
        wanted = replace(wanted, footprints=True)
    if (channels := layers.get("channels")) is not None and channels.geometry is not None:
        complete = channels.columns["area_complete"]
        draw_channels(axes, channels.geometry, channels.columns["drainage_area_ha"], complete)
        wanted = replace(wanted, channels=True, incomplete=not bool(complete.all()))
    if (ranch := layers.get("ranch")) is not None and ranch.geometry is not None:
        draw_ranch(axes, ranch.geometry)
        wanted = replace(wanted, ranch=True)
    looks = layers.get("look_first")
    if looks is not None and looks.geometry is not None and looks.rows:
        draw_looks(axes, looks.geometry)
        wanted = replace(wanted, look_first=True)
    if heads is not None and heads.geometry is not None:
        columns = heads.columns
        drawn = [
            headcut_shape(c, a)
            for c, a in zip(columns["confidence"], columns["flow_azimuth_deg"], strict=True)
        ]
        _draw_all(axes, drawn, shapely.get_coordinates(heads.geometry), half_pt, zorder=4.0)
        wanted = replace(wanted, headcuts=True)
    if sites is not None and sites.geometry is not None:
        combs = _boxes(axes, heads, half_pt)
        symbols = symbols_of(sites, looks_of(layers))
        own = _labels(sites, layers.get("referred"), looks)
        unnumbered = _draw_sites(axes, sites, symbols, half_pt, labels=own, keep_clear=combs)
        unsure = bool((sites.columns["confidence"] < palette.LOW_CONFIDENCE).any())
        wanted = replace(wanted, symbols=symbols, unsure=unsure, unnumbered=unnumbered)
        wanted = replace(wanted, referred=any(text.startswith("E") for text, _ in own))
    return wanted, half_pt


def _draw_all(
    axes: Axes,
    drawn: list[Drawn],
    places: NDArray[Any],
    half_pt: float,
    *,
    zorder: float,
) -> None:
    draw_shapes(
        axes,
        [d[0] for d in drawn],
        places,
        fills=[d[1] for d in drawn],
        edges=[d[2] for d in drawn],
        half_pt=half_pt,
        zorder=zorder,
    )


def symbols_of(sites: Layer, looks: StructureLooks) -> list[SiteSymbol]:
    """Shape of each site of a layer."""
    pairs = zip(sites.columns["control"], sites.columns["structure"], strict=True)
    return [looks.symbol(control, structure) for control, structure in pairs]


def _draw_sites(
    axes: Axes,
    sites: Layer,
    symbols: list[SiteSymbol],
    half_pt: float,
    *,
    labels: list[Label],
    keep_clear: list[Box],
) -> int:
    """Draw sites, the best on top, and labels; return how many of them found no room."""
    columns = sites.columns
    order = np.argsort(columns["list_place"], kind="stable")
    places = shapely.get_coordinates(sites.geometry)[order]
    drawn = [
        site_shape(symbols[i], columns["confidence"][i], columns["flow_azimuth_deg"][i])
        for i in order
    ]
    _draw_all(axes, drawn[::-1], places[::-1], half_pt, zorder=5.0)
    texts = [text for text, _ in labels]
    at = np.array([place for _, place in labels], dtype=np.float64).reshape(-1, 2)
    return _write_ranks(axes, texts, at, half_pt, keep_clear=keep_clear)


def _labels(sites: Layer, referred: Layer | None, looks: Layer | None) -> list[Label]:
    """What is written beside shapes, as the lists name it, and where.

    The rank of a work stands at the site that is built first; of what is referred, E and its place
    by what is at risk; of a reach to look at first, L and its number.
    """
    columns = sites.columns
    places = {
        int(number): at
        for number, at in zip(
            columns["site_id"], shapely.get_coordinates(sites.geometry).tolist(), strict=True
        )
    }
    order = np.argsort(columns["list_place"], kind="stable")
    ranks: dict[str, Label] = {}
    for i in order:
        if columns["rank"][i] > 0:
            at = places[int(columns["site_id"][i])]
            ranks.setdefault(str(columns["rank"][i]), (str(columns["rank"][i]), at))
    out = list(ranks.values())
    if referred is not None and referred.rows:
        told = zip(referred.columns["site_id"], referred.columns["risk_rank"], strict=True)
        out += [(f"E{place}", places[int(site)]) for site, place in told if int(site) in places]
    if looks is not None and looks.geometry is not None:
        for number, line in zip(looks.columns["look_id"], looks.geometry, strict=True):
            middle = shapely.line_interpolate_point(line, 0.5, normalized=True)
            out.append((f"L{number}", [middle.x, middle.y]))
    return out


def _boxes(axes: Axes, layer: Layer | None, half_pt: float) -> list[Box]:
    """Boxes around a layer's shapes on the sheet, pixels."""
    if layer is None:
        return []
    half = 1.1 * half_pt * axes.figure.dpi / 72.0
    at = axes.transData.transform(shapely.get_coordinates(layer.geometry))
    return [(x - half, y - half, x + half, y + half) for x, y in at.tolist()]


def hide_under_shapes(
    axes: Axes, texts: list[Text], layers: Mapping[str, Layer], half_pt: float
) -> None:
    """Hide labels of contours that a shape would cut through."""
    shapes = [b for name in ("sites", "headcuts") for b in _boxes(axes, layers.get(name), half_pt)]
    if not shapes:
        return
    boxes = np.array(shapes)
    reach = 14 * axes.figure.dpi / 72.0  # about half the length of a label
    for text in texts:
        x, y = axes.transData.transform(text.get_position())
        near = (
            (boxes[:, 0] < x + reach)
            & (boxes[:, 2] > x - reach)
            & (boxes[:, 1] < y + reach)
            & (boxes[:, 3] > y - reach)
        )
        text.set_visible(not bool(near.any()))


def _write_ranks(
    axes: Axes, ranks: list[str], places: NDArray[Any], half_pt: float, *, keep_clear: list[Box]
) -> int:
    pixel = axes.figure.dpi / 72.0
    size = _RANK_PT if half_pt > 4 else _RANK_PT - 1.5
    at = axes.transData.transform(places)
    frame = axes.get_window_extent()
    inside = [i for i in range(len(ranks)) if frame.contains(at[i, 0], at[i, 1])]
    labels = [
        # A bold figure of this font is 0.70 em wide and 0.73 em high.
        Wanted(
            x=at[i, 0],
            y=at[i, 1],
            half_width=1.2 * half_pt * pixel,
            half_height=1.0 * half_pt * pixel,
            width=(0.70 * len(ranks[i]) * size + 2) * pixel,
            height=(0.73 * size + 2) * pixel,
        )
        for i in inside
    ]
    centres = place_labels(
        labels,
        frame=(frame.x0, frame.y0, frame.x1, frame.y1),
        keep_clear=keep_clear,
        gap=0.5 * pixel,
    )
    for i, centre in zip(inside, centres, strict=True):
        if centre is None:
            continue
        x, y = axes.transData.inverted().transform(centre)
        text = axes.text(
            x,
            y,
            ranks[i],
            ha="center",
            va="center_baseline",
            fontsize=size,
            weight="bold",
            color=palette.INK,
            zorder=6.0,
        )
        text.set_path_effects([withStroke(linewidth=2.4, foreground=palette.WHITE)])
    return sum(centre is None for centre in centres)
