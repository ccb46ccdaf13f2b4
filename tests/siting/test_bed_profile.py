"""The bed above and below a cell: against trenches of known slope, with noise, grass and drops."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from siting.channels.bed_profile import bed_below, bed_line
from siting.channels.ground import Ground
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster
from tests.siting.trenches import channel_cell, trench

SLOPE = 0.02


@pytest.fixture(scope="module")
def with_head(measured: Callable[..., Ground]) -> Ground:
    return measured(trench(3.0, side=0.5, noise_m=0.02, drop_m=0.8))


def head_of(ground: Ground) -> tuple[int, int]:
    """Lip and foot of the surest headcut."""
    heads = ground.headcuts
    k = int(np.argmax(heads.headcut_height_m * heads.confidence))
    return int(heads.cell[k]), int(heads.foot_cell[k])


@pytest.mark.parametrize("skew", [0.0, 0.3, 0.8])
@pytest.mark.parametrize("cell", [0.5, 1.0])
def test_distances_slopes_and_directions_off_the_grid(
    measured: Callable[..., Ground], skew: float, cell: float
) -> None:
    """A path over cells is up to 8 % too long; the smoothed one is not."""
    ground = measured(trench(4.0, skew=skew, cell_m=cell))
    bed = bed_below(ground, channel_cell(ground, 90.0), length_m=50.0)
    straight = np.hypot(bed.x_m[-1] - bed.x_m[0], bed.y_m[-1] - bed.y_m[0])
    assert bed.distance_m[0] == 0.0
    assert bed.distance_m[-1] == pytest.approx(50.0)
    assert straight == pytest.approx(50.0, rel=0.02)
    slope, error = bed.slope()
    assert slope == pytest.approx(SLOPE, rel=0.03)
    assert error < 0.001
    azimuth = np.degrees(np.arctan2(-skew, -1.0)) % 360
    np.testing.assert_allclose(np.median(bed.azimuth_deg), azimuth, atol=3.0)
    bed_m = np.interp([10.0, 40.0], bed.distance_m, bed.bed_m)
    assert bed_m[0] - bed_m[1] == pytest.approx(30.0 * SLOPE, abs=0.01)


@pytest.mark.parametrize("seed", range(4))
def test_noise_of_five_centimetres(measured: Callable[..., Ground], seed: int) -> None:
    ground = measured(trench(4.0, noise_m=0.05, seed=seed))
    bed = bed_below(ground, channel_cell(ground, 90.0), length_m=50.0)
    truth = SLOPE * -bed.distance_m
    left = bed.bed_m - truth
    left -= left.mean()
    assert left.std() < 0.025
    raw = bed.raw_m - truth
    assert raw.std() > 1.5 * left.std()  # smoothing does something
    slope, error = bed.slope()
    assert abs(slope - SLOPE) < max(3 * error, 0.002)


def test_errors_are_about_right(measured: Callable[..., Ground]) -> None:
    """Falls over many places: as many within one and two errors as a normal law has, or more."""
    within = []
    for seed in range(8):
        ground = measured(trench(4.0, noise_m=0.05, seed=seed))
        bed = bed_below(ground, channel_cell(ground, 110.0), length_m=90.0)
        for at in (0.0, 20.0, 40.0, 60.0):
            ends = [at, at + 20.0]
            high, low = np.interp(ends, bed.distance_m, bed.bed_m)
            error = np.hypot(*np.interp(ends, bed.distance_m, bed.error_m))
            within.append(abs(high - low - 20.0 * SLOPE) / error)
    z = np.array(within)
    assert (z < 1).mean() > 0.5
    assert (z < 2).mean() > 0.85
    assert np.median(z) > 0.15  # nor far too large


def test_grass_on_the_bed_does_not_raise_it(measured: Callable[..., Ground]) -> None:
    plain = trench(4.0, noise_m=0.01)
    z = np.array(plain.elevation_m)
    rng = np.random.default_rng(1)
    clumps = rng.random(z.shape) < 0.06
    z[clumps] += 0.25
    bare, grown = measured(plain), measured(Raster.from_array(z))
    a = bed_below(bare, channel_cell(bare, 90.0), length_m=50.0)
    b = bed_below(grown, channel_cell(grown, 90.0), length_m=50.0)
    lifted = b.bed_m - np.interp(b.y_m, a.y_m[::-1], a.bed_m[::-1])
    assert abs(np.median(lifted)) < 0.02
    assert lifted.max() < 0.08


def test_a_walk_up_ends_at_the_foot_and_keeps_the_drop_when_it_goes_on(
    with_head: Ground,
) -> None:
    lip, foot = head_of(with_head)
    below = bed_below(with_head, foot, length_m=20.0)
    cell = int(below.cell[-1])
    up = bed_line(with_head, cell, above_m=60.0, below_m=0.0)
    assert up.ends_at == "headcut"
    assert up.cell[0] == foot
    assert up.distance_m[-1] == 0.0
    assert up.distance_m[0] == pytest.approx(-20.0, abs=1.5)
    assert np.ptp(up.bed_m) < 0.6  # no face in it
    over = bed_line(with_head, cell, above_m=60.0, below_m=0.0, stop_at_heads=False)
    assert over.distance_m[0] < -40.0
    rise = -np.diff(over.bed_m)
    assert rise.max() > 0.5  # the face is not smeared over the window of the smoothing
    assert (rise > 0.1).sum() <= 3
    at_lip = np.flatnonzero(over.cell == lip)[0]
    at_foot = np.flatnonzero(over.cell == foot)[-1]
    assert over.bed_m[at_lip] - over.bed_m[at_foot] == pytest.approx(0.8, abs=0.12)
    # the drop is no part of the reach's slope
    assert over.slope()[0] == pytest.approx(SLOPE, abs=0.004)


def test_a_walk_down_ends_at_the_lip(with_head: Ground) -> None:
    lip, _ = head_of(with_head)
    start = channel_cell(with_head, 100.0)
    down = bed_below(with_head, start, length_m=60.0)
    assert down.ends_at == "headcut"
    assert down.cell[-1] == lip
    on = bed_below(with_head, start, length_m=60.0, stop_at_heads=False)
    assert on.ends_at == "length"
    assert on.distance_m[-1] == pytest.approx(60.0)


def test_between_a_foot_and_a_structure(with_head: Ground) -> None:
    _, foot = head_of(with_head)
    cell = int(bed_below(with_head, foot, length_m=6.0).cell[-1])
    line = bed_line(with_head, cell, above_m=0.0, below_m=0.0, from_cell=foot)
    assert line.ends_at == "foot"
    assert line.cell[0] == foot
    assert line.distance_m[0] == pytest.approx(-6.0, abs=1.0)
    aside = channel_cell(with_head, 10.0)
    with pytest.raises(ParameterError, match="does not come to the structure"):
        bed_line(with_head, foot, above_m=0.0, below_m=0.0, from_cell=aside)


def test_the_edge_ends_a_walk(with_head: Ground) -> None:
    cell = channel_cell(with_head, 12.0)
    down = bed_below(with_head, cell, length_m=80.0)
    assert down.ends_at == "edge"
    assert down.distance_m[-1] < 20.0
    top = bed_line(with_head, cell, above_m=5000.0, below_m=0.0, stop_at_heads=False)
    assert top.ends_at == "edge"


def test_rows_go_downstream_and_hold_the_cell(with_head: Ground) -> None:
    cell = channel_cell(with_head, 40.0)
    line = bed_line(with_head, cell, above_m=10.0, below_m=10.0, step_m=0.5)
    assert (np.diff(line.distance_m) > 0).all()
    assert 0.0 in line.distance_m
    np.testing.assert_allclose(np.diff(line.distance_m), 0.5, atol=1e-9)
    assert line.cell[np.argmin(np.abs(line.distance_m))] == cell
    assert line.bed_m[0] > line.bed_m[-1]


def test_a_slope_over_too_few_heights(with_head: Ground) -> None:
    bed = bed_below(with_head, channel_cell(with_head, 40.0), length_m=10.0)
    with pytest.raises(ParameterError, match="three steps or more"):
        bed.slope(0.0, 1.0)


def test_lengths_below_zero(with_head: Ground) -> None:
    with pytest.raises(ParameterError, match="lengths of 0 or more"):
        bed_below(with_head, channel_cell(with_head, 40.0), length_m=-1.0)
    with pytest.raises(ParameterError, match="step above 0"):
        bed_below(with_head, channel_cell(with_head, 40.0), length_m=5.0, step_m=0.0)
