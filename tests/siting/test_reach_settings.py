"""A station is a swale where its shape is seen as one, never where cells hide a channel."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.ground import Ground
from siting.channels.reach_settings import SWALES, station_settings
from terrain.values.raster import Raster
from tests.siting.conftest import ground_of, gully_raster
from tests.siting.test_swales import swale_raster


def coarser(raster: Raster, times: int) -> Raster:
    """Means of so many cells each way."""
    z = raster.elevation_m
    rows, cols = (n // times * times for n in z.shape)
    blocks = z[:rows, :cols].reshape(rows // times, times, cols // times, times)
    return Raster.from_array(blocks.mean(axis=(1, 3)).astype(np.float32), cell_m=float(times))


def unseen(ground: Ground) -> np.ndarray:
    s = ground.stations
    return ~(np.isfinite(s.bank_width_m) & s.width_resolved)


@pytest.mark.parametrize("times", [2, 4])
def test_a_gully_that_cells_hide_is_no_swale(times: int) -> None:
    """2 m wide and 0.6 m deep: at 2 and 4 m a notch, or nothing."""
    ground = ground_of(coarser(gully_raster(drop_m=0.6, bed_m=1.0, slope=0.015), times))
    setting = station_settings(ground)
    hidden = unseen(ground)
    assert hidden.any()
    assert not np.isin(setting[hidden], SWALES).any()


def test_a_floor_that_is_seen_is_a_swale_without_banks() -> None:
    ground = ground_of(swale_raster())
    setting, hidden = station_settings(ground), unseen(ground)
    assert hidden.any()
    assert np.isin(setting[hidden], SWALES).mean() > 0.9


def test_the_same_floor_on_coarse_cells_is_not_known() -> None:
    ground = ground_of(coarser(swale_raster(), 4))
    setting, hidden = station_settings(ground), unseen(ground)
    assert hidden.any()
    assert not np.isin(setting[hidden], SWALES).any()
