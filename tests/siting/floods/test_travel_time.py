"""Travel time along flow paths: whole paths, many sites at once, and refusals."""

import numpy as np
import pytest

from siting.floods.flood_errors import FloodInputError
from siting.floods.travel_time import (
    FlowPath,
    kirpich_h,
    manning_velocity_m_s,
    shallow_flow_h,
    sheet_flow_h,
    time_of_concentration,
)
from siting.hydraulics.open_channel import LOWEST_SLOPE

PATH = FlowPath(
    sheet_length_m=[30.0, 30.0, 20.0, 0.0],
    sheet_slope=[0.05, 0.0, 0.05, np.nan],
    shallow_length_m=[200.0, 200.0, 0.0, 100.0],
    shallow_slope=[0.04, 0.04, np.nan, 0.03],
    channel_length_m=[500.0, 0.0, 0.0, 800.0],
    channel_slope=[0.02, np.nan, np.nan, 0.01],
    channel_hydraulic_radius_m=[0.3, np.nan, np.nan, 0.4],
)


def test_parts_add_up_for_many_sites() -> None:
    time = time_of_concentration(PATH, rain_2yr_24h_mm=38.0, channel_roughness=0.045)
    np.testing.assert_allclose(time.total_h, time.sheet_h + time.shallow_h + time.channel_h)
    assert time.channel_h[1:3].tolist() == [0.0, 0.0]
    assert time.shallow_h[2] == 0.0
    assert time.sheet_h[3] == 0.0
    assert np.isfinite(time.total_h).all()
    assert not time.total_h.flags.writeable
    one = time_of_concentration(
        FlowPath(30.0, 0.05, 200.0, 0.04, 500.0, 0.02, 0.3),
        rain_2yr_24h_mm=38.0,
        channel_roughness=0.045,
    )
    assert one.total_h == pytest.approx(time.total_h[0])


def test_flat_slopes_are_raised_and_said() -> None:
    time = time_of_concentration(PATH, rain_2yr_24h_mm=38.0, channel_roughness=0.045)
    assert time.slope_raised.tolist() == [False, True, False, False]
    assert time.sheet_h[1] == pytest.approx(sheet_flow_h(30.0, LOWEST_SLOPE, rain_2yr_24h_mm=38.0))


def test_unknown_channel_gives_unknown_time() -> None:
    path = FlowPath(30.0, 0.05, 200.0, 0.04, 500.0, 0.02, np.nan)
    time = time_of_concentration(path, rain_2yr_24h_mm=38.0, channel_roughness=0.045)
    assert np.isnan(time.total_h)


def test_water_is_faster_on_steeper_ground_and_slower_on_rougher() -> None:
    slopes = np.linspace(0.01, 0.3, 20)
    assert (np.diff(shallow_flow_h(100.0, slopes)) < 0).all()
    assert (np.diff(kirpich_h(100.0, slopes)) < 0).all()
    assert (np.diff(sheet_flow_h(30.0, slopes, rain_2yr_24h_mm=38.0)) < 0).all()
    rough = manning_velocity_m_s(0.3, 0.02, roughness=[0.03, 0.06])
    assert rough[0] == pytest.approx(2 * rough[1])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sheet_flow_h(31.0, 0.05, rain_2yr_24h_mm=38.0), "at most 30 m"),
        (lambda: sheet_flow_h(-1.0, 0.05, rain_2yr_24h_mm=38.0), "length of -1 m for sheet"),
        (lambda: sheet_flow_h(30.0, 0.0, rain_2yr_24h_mm=38.0), "sheet-flow slope of 0"),
        (lambda: sheet_flow_h(30.0, 0.1, rain_2yr_24h_mm=0.0), "24-hour rain of 0"),
        (lambda: shallow_flow_h(30.0, -0.1), "shallow-flow slope of -0.1"),
        (lambda: manning_velocity_m_s(0.0, 0.1, roughness=0.045), "hydraulic radius of 0"),
        (lambda: manning_velocity_m_s(0.3, 0.1, roughness=0), "channel roughness of 0"),
        (lambda: kirpich_h(100.0, 0.0), "path slope of 0"),
    ],
)
def test_refusals(call, message: str) -> None:
    with pytest.raises(FloodInputError, match=message):
        call()
