"""Terraced fields: many drops, none of them a head."""

from __future__ import annotations

import numpy as np

from tests.second_ground.fields import terraced_fields
from tests.second_ground.wear import flood_order, gather


def test_terraced_fields_hold_drops_on_flow_lines_but_no_head() -> None:
    made, again = terraced_fields(3), terraced_fields(3)
    assert made.elevation.tobytes() == again.elevation.tobytes()
    assert made.elevation.size >= 20e4  # 20 ha
    assert made.truth["headcuts"] == []
    assert not made.gully.any()
    edge = np.ones(made.clean.shape, bool)
    edge[1:-1, 1:-1] = False
    z = made.clean.astype(np.float64)
    _, receiver, order = flood_order(z, edge, 1e-5)
    area = gather(receiver, order, 1.0)
    here = np.flatnonzero(area >= 300)
    below = here.copy()
    for _ in range(6):
        below = np.where(receiver[below] >= 0, receiver[below], below)
    falls = z.ravel()[here] - z.ravel()[below]
    assert (falls > 0.5).sum() >= 20  # a detector of drops alone would take them for heads
    assert {"terrace", "road_fill", "track"} <= {t["kind"] for t in made.truth["traps"]}
