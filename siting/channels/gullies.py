"""Gullies on a ranch, found with the limits of the file of rules."""

from __future__ import annotations

import numpy as np

from siting.channels.ground import Ground
from siting.values.rules import Rules
from terrain.channels.network import channel_network
from terrain.incision.gully_shapes import Gullies, GullyLimits, find_gullies
from terrain.incision.incised_ground import IncisionLimits, find_incised
from terrain.reading.survey import COARSE_CELL_M

#: A head this near a gully's outline belongs to it, m, at least two cells: its lip lies outside.
HEAD_NEAR_M = 6.0


def gullies_of(ground: Ground) -> Gullies | None:
    """Find the gullies that touch the ranch; None where cells are too coarse to show any."""
    raster = ground.raster
    if raster.grid.cell_m > COARSE_CELL_M:
        return None
    incision = incision_limits(ground.rules)
    flow = ground.conditioned.flow
    area_ha = max(incision.flow_line_area_ha, 4 * raster.grid.cell_area_m2 / 1e4)
    lines = channel_network(flow, ground.counts, channel_area_ha=area_ha)
    found = find_gullies(
        raster,
        flow,
        ground.counts,
        flow_lines=lines,
        incised=find_incised(raster, lines, incision),
        limits=gully_limits(ground.rules),
    )
    return found.take(np.flatnonzero(ground.inside(found.lowest_cell)))


def incision_limits(rules: Rules) -> IncisionLimits:
    """When ground is cut between edges, as the rules say."""
    return IncisionLimits(
        flow_line_area_ha=rules.value("gully.flow_line_area"),
        least_depth_m=rules.value("gully.least_depth"),
        noise_times=rules.value("gully.noise_times"),
        least_wall=rules.value("gully.least_wall"),
        steep_wall=rules.value("gully.steep_wall"),
        beyond_edge=rules.value("gully.beyond_edge"),
        edge_share=rules.value("gully.edge_share"),
        edge_m=rules.value("gully.edge_depth"),
    )


def gully_limits(rules: Rules) -> GullyLimits:
    """When incised ground is a gully, as the rules say."""
    return GullyLimits(
        least_length_m=rules.value("gully.least_length"),
        length_over_width=rules.value("gully.length_over_width"),
        steep_length_m=rules.value("gully.steep_length"),
        ditch_length_m=rules.value("gully.ditch_length"),
        ditch_stray=rules.value("gully.ditch_stray"),
        ditch_confidence=rules.value("gully.ditch_confidence"),
    )
