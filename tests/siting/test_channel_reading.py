"""Reading a channel whose measures are known."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from siting.channels.channel_reading import SETTINGS, ChannelReading, read_places, read_stations
from siting.channels.ground import Ground
from siting.channels.reach_settings import station_settings
from terrain.reading.dem import read_dem
from terrain.reading.survey import ReadOptions
from terrain.values.raster import Raster


def benched(*, bench_m: float = 0.45, depth_m: float = 1.3, seed: int = 5) -> Raster:
    """A channel that runs askew over a raster, with a bench on each side and 5 cm of noise."""
    rows, cols = 300, 300
    y, x = np.mgrid[0:rows, 0:cols].astype(float)
    angle = np.radians(25.0)
    along = np.sin(angle) * (x - 150.0) + np.cos(angle) * (rows - 1 - y - 150.0)
    off = np.abs(np.cos(angle) * (x - 150.0) - np.sin(angle) * (rows - 1 - y - 150.0))
    out = np.maximum(off - 1.2, 0.0)
    low = np.minimum(1.5 * out, bench_m) if bench_m > 0 else 1.5 * out
    wide = 1.4 if bench_m > 0 else np.inf
    high = 1.5 * np.maximum(out - bench_m / 1.5 - wide, 0.0)
    # the bed dips to its middle, the valley floor rises gently to both sides
    z = 500.0 + 0.015 * along + np.minimum(low + high, depth_m) + 0.05 * np.minimum(off, 1.2)
    z += 0.05 * np.maximum(off - 4.0, 0.0)
    z += 0.05 * np.random.default_rng(seed).standard_normal(z.shape)
    return Raster.from_array(z.astype(np.float32))


def inner(ground: Ground) -> np.ndarray:
    """Stations on the channel itself, away from the raster's ends."""
    s = ground.stations
    x0, y0 = ground.raster.grid.xy(149.5, 149.5)
    angle = np.radians(25.0)
    off = np.cos(angle) * (s.x_m - x0) - np.sin(angle) * (s.y_m - y0)
    along = np.sin(angle) * (s.x_m - x0) + np.cos(angle) * (s.y_m - y0)
    return np.flatnonzero((np.abs(off) < 2.0) & (np.abs(along) < 90.0))


@pytest.fixture(scope="module")
def with_bench(measured: Callable[..., Ground]) -> Ground:
    return measured(benched())


def test_a_benched_channel(with_bench: Ground) -> None:
    s = with_bench.stations
    at = inner(with_bench)
    assert at.size > 25
    r = read_stations(with_bench, q2_m3s=np.full(s.size, np.nan)).take(at)
    assert np.nanmedian(r.bank_depth_m) == pytest.approx(1.3, rel=0.15)
    # 2.4 m of bed, two benches of 1.4 m, sides of 1.5 to 1 over 1.3 m; cells of 1 m cannot tell a
    # bank top from one half a cell further out, on each side
    assert np.nanmedian(r.bank_width_m) == pytest.approx(6.9, abs=1.1)
    bench = r.bankfull.bench_m
    assert np.isfinite(bench).mean() > 0.6
    assert np.nanmedian(bench) == pytest.approx(0.45, abs=0.09)
    given = r.bankfull.source == "bench"
    assert given.any()
    assert np.nanmedian(r.bankfull.width_m[given]) == pytest.approx(3.0, rel=0.3)
    # bank top and bankfull stand apart
    assert np.nanmedian(r.bank_height_ratio[given]) == pytest.approx(1.3 / 0.45, rel=0.3)
    assert np.nanmedian(r.width_depth_ratio[given]) == pytest.approx(3.0 / 0.45, rel=0.4)
    assert set(r.stage[given]) <= {4, 5}
    assert (r.stage_confidence[given] <= 0.7).all()
    assert (r.height_limit_m[given] <= 0.15 + 1e-9).all()
    # the floor rises 5 %: 1 m above the bank top it is 2 x (4 + 20) m wide
    assert np.median(r.valley_floor_width_m) == pytest.approx(48.0, rel=0.2)
    assert np.nanmedian(r.bed_width_m) == pytest.approx(2.6, rel=0.3)
    assert set(r.setting) <= set(SETTINGS)
    assert (r.width_source == "dem").mean() > 0.9


def test_without_a_bench_none_is_found(measured: Callable[..., Ground]) -> None:
    ground = measured(benched(bench_m=0.0))
    at = inner(ground)
    r = read_stations(ground, q2_m3s=np.full(ground.stations.size, np.nan)).take(at)
    assert np.isfinite(r.bankfull.bench_m).mean() <= 0.05
    assert np.isin(r.stage, [0, 1, 2, 3]).mean() >= 0.95


def test_flow_rules_where_it_is_lowest(with_bench: Ground) -> None:
    s = with_bench.stations
    at = inner(with_bench)
    small = read_stations(with_bench, q2_m3s=np.full(s.size, 0.15)).take(at)
    large = read_stations(with_bench, q2_m3s=np.full(s.size, 1.5)).take(at)
    assert (small.bankfull.source == "flow").mean() > 0.9
    assert (large.bankfull.flow_m > small.bankfull.flow_m).all()
    assert np.nanmedian(large.bankfull.depth_m) > np.nanmedian(small.bankfull.depth_m)
    # where it is sure, a third of it is less than the smallest: bankfull alone allows none
    sure = small.bankfull.sure
    assert sure.any()
    assert (~sure).any()
    assert (small.bankfull.depth_m[sure] / 3 < 0.10).all()
    assert (small.height_limit_m == np.where(sure, 0.0, 0.10)).all()
    assert all(w is not None for w in small.height_why)


def test_cells_read_like_stations(with_bench: Ground) -> None:
    s = with_bench.stations
    at = inner(with_bench)
    nan = np.full(at.size, np.nan)
    a = read_places(with_bench, s.cell[at], slope=s.slope[at], q2_m3s=nan)
    b = read_stations(with_bench, q2_m3s=np.full(s.size, np.nan)).take(at)
    assert a.size == b.size == at.size
    assert np.nanmedian(a.bank_depth_m) == pytest.approx(np.nanmedian(b.bank_depth_m), rel=0.1)
    assert np.nanmedian(a.bankfull.bench_m) == pytest.approx(
        np.nanmedian(b.bankfull.bench_m), abs=0.08
    )
    assert (a.setting == b.setting).mean() > 0.9


def test_no_places(with_bench: Ground) -> None:
    none = read_places(
        with_bench, np.array([], dtype=np.int64), slope=np.array([]), q2_m3s=np.array([])
    )
    assert none.size == 0


def test_a_gully_with_a_headcut_that_comes_out_on_its_floor(
    measured: Callable[..., Ground], gully: Callable[..., Raster]
) -> None:
    ground = measured(gully(drop_m=1.0, slope=0.02, bed_slope=0.010, noise_m=0.02))
    s = ground.stations
    settings = station_settings(ground)
    _, south = ground.raster.grid.xy(399, 80)
    up = s.y_m - south
    on_axis = np.abs(s.x_m - 80.0) < 4.0
    cut = on_axis & (up > 160) & (up < 195)
    assert cut.sum() >= 4
    assert (settings[cut] == "discontinuous gully").mean() > 0.7
    # below its end its sediment spreads; far above the head the valley is whole
    toe = on_axis & (up > 90) & (up < 130)
    assert (settings[toe] == "fan").any()
    above = on_axis & (up > 230) & (up < 330)
    assert (settings[above] == "swale").mean() > 0.9


def test_a_trench_that_goes_on_is_an_incised_channel(
    measured: Callable[..., Ground], gully: Callable[..., Raster]
) -> None:
    """Without a headcut: the trench reaches from one end of the raster to the other."""
    ground = measured(gully(drop_m=1.0, head_m=500.0, cut_m=1.0))
    s = ground.stations
    on_axis = (np.abs(s.x_m - 80.0) < 4.0) & (s.station_m > 40) & (s.station_m < 250)
    settings = station_settings(ground)[on_axis]
    assert (settings == "incised channel").mean() > 0.8


@pytest.mark.real
@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("pozo/pozo_4m.tif", None),
        ("carrizo/carrizo.tif", ReadOptions(crs="EPSG:26911")),
        ("bijou/west_bijou_gully.asc", ReadOptions(crs="EPSG:26913")),
    ],
)
def test_real_ground_is_read(
    name: str,
    options: ReadOptions | None,
    real_dem: Callable[[str], Path],
    measured: Callable[..., Ground],
) -> None:
    ground = measured(read_dem(real_dem(name), options=options).raster)
    s = ground.stations
    r: ChannelReading = read_stations(ground, q2_m3s=0.03 * s.drainage_area_ha**0.75)
    assert r.size == s.size
    dem = r.width_source == "dem"
    assert dem.any()
    assert np.isnan(r.bank_width_m[~dem]).all()
    cell = ground.raster.grid.cell_m
    assert (r.bank_width_m[dem] >= 3 * cell).all()
    known = np.isfinite(r.bankfull.depth_m)
    assert known.mean() > 0.9
    assert (r.bankfull.depth_m[known] > 0).all()
    assert (r.bankfull.depth_m[dem & known] <= r.bank_depth_m[dem & known] + 1e-9).all()
    none = r.height_limit_m == 0
    from_smallest = (r.height_limit_m >= 0.10 - 1e-9) & (r.height_limit_m <= 0.30 + 1e-9)
    assert (none | from_smallest).all()
    assert r.bankfull.sure[none].all()
    assert (
        r.height_limit_m[r.bankfull.sure] <= r.bankfull.depth_m[r.bankfull.sure] / 3 + 1e-6
    ).all()
    assert r.height_limit_m[~r.bankfull.sure] == pytest.approx(0.10)
    assert np.isfinite(r.bed_width_m).all()
    assert (r.valley_floor_width_m[np.isfinite(r.valley_floor_width_m)] >= 0).all()
    assert len(set(r.setting)) >= 2
