"""The constant-drop test that picks where channels begin."""

from __future__ import annotations

import numpy as np
import pytest

from sample_dem.generator import make_ranch
from terrain.channels.channel_area import pick_channel_area, stream_falls
from terrain.channels.network import channel_network, default_channel_area_ha
from terrain.flow.conditioning import condition
from terrain.values.raster import Raster


@pytest.fixture(scope="module")
def ranch():
    raster = Raster.from_array(make_ranch(7, rows=700, cols=700).elevation)
    conditioned = condition(raster)
    return conditioned, conditioned.flow.accumulate()


def test_falls_of_streams_add_up_to_the_ways_from_heads(ranch) -> None:
    """Following streams down from a head, their falls add up to head less outlet."""
    conditioned, counts = ranch
    network = channel_network(conditioned.flow, counts, channel_area_ha=0.5)
    order, fall = stream_falls(network, conditioned.raster.elevation_m)
    assert (fall >= 0).all()
    # every order-1 reach without donors of its own starts one stream of order 1
    assert (order == 1).sum() == (network.order == 1).sum() - sum(
        network.order[d] == 1 for d in network.downstream[network.order == 1] if d >= 0
    )
    assert order.max() == network.order.max()


def test_the_area_picked_is_the_first_that_passes(ranch) -> None:
    conditioned, counts = ranch
    picked = pick_channel_area(conditioned.flow, counts, conditioned.raster)
    assert picked.settled
    assert picked.channel_area_ha == picked.tests[-1].channel_area_ha
    assert abs(picked.tests[-1].t) < 2.0
    assert all(not abs(test.t) < 2.0 for test in picked.tests[:-1])


def test_without_enough_streams_the_default_is_given() -> None:
    slope = np.add.outer(np.arange(60.0), np.zeros(60))
    conditioned = condition(Raster.from_array(slope))
    picked = pick_channel_area(conditioned.flow, conditioned.flow.accumulate(), conditioned.raster)
    assert not picked.settled  # one stream an outlet, none of a higher order
    assert picked.channel_area_ha == default_channel_area_ha(1.0)
