"""The layer of gullies, and what is said of them in a sentence."""

from __future__ import annotations

import numpy as np
import shapely

from siting.channels.ground import Ground
from siting.channels.gullies import HEAD_NEAR_M
from siting.record.feature_tables import lon_lat
from siting.values.columns import Columns, FeatureTable, shapes_of, texts_of
from siting.values.wording import counted, quantity
from terrain.incision.gully_shapes import Gullies
from terrain.values.arrays import BoolArray, IntArray


def gully_table(ground: Ground, gullies: Gullies | None, heads: IntArray) -> FeatureTable:
    """Gullies as polygons, the one with the largest void first.

    Parameters
    ----------
    ground
        Terrain and headcuts.
    gullies
        None where none were looked for.
    heads
        Headcuts that the plan lists, by their number in ``ground.headcuts``, ``(h,)``.
    """
    if gullies is None or not gullies.size:
        return FeatureTable(shapes_of([]), {})
    grid = ground.raster.grid
    x, y = grid.xy_of(gullies.lowest_cell)
    lon, lat = lon_lat(grid.crs, x, y)
    reach, _ = ground.on_network(gullies.lowest_cell)
    ids = _heads_of(ground, gullies, heads)
    return FeatureTable(
        shapes_of([shapely.MultiPolygon(shapely.get_parts(s).tolist()) for s in gullies.outline]),
        {
            "gully_id": np.arange(1, gullies.size + 1),
            "channel_id": reach + 1,
            "area_m2": gullies.area_m2,
            "length_m": gullies.length_m,
            "mean_width_m": gullies.mean_width_m,
            "greatest_width_m": gullies.greatest_width_m,
            "mean_depth_m": gullies.mean_depth_m,
            "greatest_depth_m": gullies.greatest_depth_m,
            "void_m3": gullies.void_m3,
            "void_low_m3": gullies.void_low_m3,
            "void_high_m3": gullies.void_high_m3,
            "heads": np.array([len(own) for own in ids], dtype=np.int64),
            "head_ids": texts_of([", ".join(map(str, own)) or None for own in ids]),
            "maybe_ditch": gullies.ditch,
            "confidence": gullies.confidence,
            "lon": lon,
            "lat": lat,
        },
    )


def form_columns(ground: Ground, gullies: Gullies | None, shown: BoolArray) -> Columns:
    """How much of each channel is cut between edges, and what it therefore is.

    Parameters
    ----------
    ground
        Terrain and its channels.
    gullies
        None where none were looked for: nothing is said then.
    shown
        Which channels are listed, one answer a reach.
    """
    network = ground.network
    if gullies is None:
        return {}
    # a step belongs to the vertex at its upper end
    step_m = -np.diff(network.vertex_station_m, append=0.0)
    step_m[network.line_end - 1] = 0.0
    cut = np.where(gullies.on_lines(network.line_cells), step_m, 0.0)
    sums = np.concatenate([[0.0], np.cumsum(cut)])
    cut_m = (sums[network.line_end] - sums[network.line_start])[shown]
    length_m = network.length_m[shown]
    form = ["cut" if c >= 0.5 * n else "open" for c, n in zip(cut_m, length_m, strict=True)]
    return {"form": texts_of(form), "cut_m": cut_m}


def _heads_of(ground: Ground, gullies: Gullies, heads: IntArray) -> list[list[int]]:
    """Numbers of the headcuts in each gully or at its edge; each head in the nearest one."""
    own: list[list[int]] = [[] for _ in range(gullies.size)]
    x, y = ground.raster.grid.xy_of(ground.headcuts.cell[heads])
    tree = shapely.STRtree(gullies.outline)
    near_m = max(HEAD_NEAR_M, 2 * ground.raster.grid.cell_m)
    head, gully = tree.query_nearest(shapely.points(x, y), max_distance=near_m, all_matches=False)
    for k, g in sorted(zip(head.tolist(), gully.tolist(), strict=True)):
        own[g].append(k + 1)
    return own


def gully_note(gullies: Gullies | None) -> tuple[str, ...]:
    """One sentence on the gullies that were found."""
    if gullies is None or not gullies.size:
        return ()
    low, void, high = (
        quantity(float(v.sum()), "m3")
        for v in (gullies.void_low_m3, gullies.void_m3, gullies.void_high_m3)
    )
    unsure = int(np.count_nonzero(gullies.confidence < 0.5))
    doubt = f" {counted(unsure, 'of them', 'of them')} may be none." if unsure else ""
    return (
        f"{counted(gullies.size, 'gully', 'gullies')} with {void} of ground gone ({low} to {high}, "
        f"by where the edges are put).{doubt}",
    )
