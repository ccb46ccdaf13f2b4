"""Bed slopes at places: falls worked out by hand, and on ground across a junction."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siting.channels.bed_profile import BedProfile
from siting.channels.bed_slopes import bed_slopes, foot_m, over, slopes_in
from siting.channels.ground import Ground
from siting.places.spot import BedAround
from siting.structures.limit_checks import no_steeper, steepest
from terrain.values.raster import Raster
from tests.siting.conftest import ground_of, gully_raster
from tests.siting.structures.example_spots import RULES, grade_spot

REACH_M = 10.0


def bed_of(
    distance_m: np.ndarray,
    bed_m: np.ndarray,
    piece: np.ndarray | None = None,
    error_m: float = 0.01,
) -> BedProfile:
    """A bed of which only heights and pieces matter."""
    n = distance_m.size
    none = np.zeros(n)
    return BedProfile(
        distance_m=distance_m,
        bed_m=bed_m,
        error_m=np.full(n, 0.01),
        raw_m=bed_m,
        cell=np.arange(n),
        x_m=none,
        y_m=none,
        azimuth_deg=none,
        piece=np.zeros(n, dtype=np.int64) if piece is None else piece,
        ends_at="length",
    )


def with_face(lip_m: float, foot_m: float, height_m: float, slope: float) -> BedProfile:
    """A bed of one slope from -30 to 30 m with a face between two places."""
    d = np.unique(np.concatenate([np.arange(-30.0, 31.0), [lip_m, foot_m]]))
    piece = np.where(d <= lip_m, 0, np.where(d < foot_m, 1, 2))
    along = np.where(d <= lip_m, d, np.where(d < foot_m, lip_m, d - (foot_m - lip_m)))
    down = height_m * np.clip((d - lip_m) / (foot_m - lip_m), 0.0, 1.0)
    return bed_of(d, -slope * along - down, piece)


def test_fall_over_length_and_the_errors_of_its_ends() -> None:
    d = np.arange(-20.0, 21.0)
    found = over(bed_of(d, -0.03 * d), -7.5, 4.5, least_m=3.0)
    assert found.slope == pytest.approx(0.03)
    assert found.error == pytest.approx(np.hypot(0.01, 0.01) / 12.0)


def test_a_steep_run_close_below_shows_below_and_not_above() -> None:
    d = np.arange(-20.0, 21.0)
    z = np.where(d < 2.0, -0.01 * d, -0.02 - 0.14 * (d - 2.0))
    here, above, below = slopes_in(bed_of(d, z), REACH_M)
    assert above.slope == pytest.approx(0.01)
    assert below.slope == pytest.approx((0.02 + 8 * 0.14) / 10)
    assert here.slope == pytest.approx((0.07 + 3 * 0.14) / 10)


@given(
    lip=st.floats(-25.0, 20.0),
    long=st.floats(0.2, 4.0),
    height=st.floats(0.3, 1.5),
    slope=st.floats(0.0, 0.15),
    start=st.floats(-28.0, 10.0),
)
def test_a_face_never_counts(
    lip: float, long: float, height: float, slope: float, start: float
) -> None:
    bed = with_face(lip, lip + long, height, slope)
    found = over(bed, start, start + 15.0, least_m=3.0)
    assert found.slope == pytest.approx(slope, abs=1e-9)
    assert found.error > 0


@given(lip=st.floats(-9.0, -0.5), long=st.floats(0.2, 2.0), height=st.floats(0.3, 1.5))
def test_a_footprint_stays_below_the_face_above_it(lip: float, long: float, height: float) -> None:
    """Above the face the bed falls otherwise than where the structure stands."""
    if lip + long > -0.1:
        return
    bed = with_face(lip, lip + long, height, 0.02)
    steep = np.where(bed.distance_m <= lip, 0.1 * (lip - bed.distance_m), 0.0)
    bed = bed_of(bed.distance_m, bed.bed_m + steep, bed.piece)
    here, above, _ = slopes_in(bed, REACH_M)
    assert here.slope == pytest.approx(0.02, abs=1e-9)
    assert above.slope >= here.slope


def test_below_a_headcut_the_bed_begins_past_its_scour() -> None:
    bed = with_face(0.0, 1.0, 0.8, 0.02)
    assert foot_m(bed) == 1.0
    scour = np.where((bed.distance_m >= 1.0) & (bed.distance_m < 2.5), -0.3, 0.0)
    bed = bed_of(bed.distance_m, bed.bed_m + scour, bed.piece)
    here, above, below = slopes_in(bed, REACH_M, foot_m=1.0, past_m=2.0)
    assert here.slope == pytest.approx(0.02)
    assert below.slope == pytest.approx(0.02)
    assert above.slope == pytest.approx(0.02)


def test_too_short_a_stretch_has_no_slope() -> None:
    d = np.arange(-2.0, 3.0)
    here, above, below = slopes_in(bed_of(d, -0.05 * d), REACH_M)
    assert np.isnan(above.slope)
    assert np.isnan(below.slope)
    assert here.slope == pytest.approx(0.05)


def test_a_bed_that_rises_has_slope_0_and_one_place_alone_too() -> None:
    d = np.arange(-20.0, 21.0)
    here, above, below = slopes_in(bed_of(d, 0.02 * d), REACH_M)
    assert (here.slope, above.slope, below.slope) == (0.0, 0.0, 0.0)
    alone, _, _ = slopes_in(bed_of(np.zeros(1), np.zeros(1)), REACH_M)
    assert (alone.slope, alone.error) == (0.0, 0.0)


@pytest.fixture(scope="module")
def steep_below_junction() -> tuple[Ground, float]:
    """A gully whose bed falls 1 %, but 14 % over 12 m just below a junction 6 m further down."""
    raster = gully_raster(drop_m=0.0, cut_m=0.6, slope=0.01, noise_m=0.0, head_m=380.0, rows=400)
    z = raster.elevation_m.astype(np.float64).copy()
    rows, cols = z.shape
    y = (rows - 0.5 - np.arange(rows))[:, None]
    x = np.arange(cols)[None, :] + 0.5
    trough, steep = 200.0, 196.0
    z += 0.03 * np.minimum(np.abs(x - cols / 2 - 0.5), 3.0)  # the water gathers in the middle
    # a side channel from the east, as deep as the gully
    side = 100.0 + 0.01 * trough - 0.6 + 0.02 * (x - cols / 2) + 0.05 * np.abs(y - trough)
    z = np.where((x > cols / 2) & (x < cols - 8.0), np.minimum(z, side), z)
    z -= 0.13 * np.clip(steep - y, 0.0, 12.0)
    return ground_of(Raster.from_array(z.astype(np.float32))), steep


def test_the_slope_goes_on_across_a_junction(steep_below_junction: tuple[Ground, float]) -> None:
    ground, steep = steep_below_junction
    s, cols = ground.stations, ground.raster.grid.cols
    above = (ground.network.downstream[s.reach] >= 0) & (np.abs(s.x_m - cols / 2) < 2.0)
    i = int(np.flatnonzero(above)[np.argmin(s.y_m[above])])  # lowest one above the junction
    there = int(np.argmin(np.abs(s.y_m - steep + 2.0) + np.abs(s.x_m - cols / 2)))
    assert s.reach[i] != s.reach[there]
    away = float(s.y_m[i] - steep)
    assert 2.0 < away < 9.0
    found = bed_slopes(ground, s.cell[[i]])
    assert found.above[0] == pytest.approx(0.01, abs=0.004)
    assert found.below[0] == pytest.approx((0.1 + 0.13 * (10.0 - away)) / 10.0, abs=0.02)
    # the slope along the channel sees it, too: 25 m down hold the whole of the fall
    assert s.slope[i] > 0.02


def test_limits_see_the_steepest_and_say_which() -> None:
    limit = RULES["hand_work.gradient"]
    spot = grade_spot(slope=0.0078, bed=BedAround(0.01, 0.002, 0.14, 0.002))
    assert steepest(spot) == (0.14, 0.002, " just below")
    check = no_steeper(spot, limit, so="that is the limit of hand work")
    assert not check.passed
    assert "slope of the bed just below, 14 %" in check.why_not
    alone = no_steeper(grade_spot(slope=0.0078), limit, so="that is the limit of hand work")
    assert alone.passed
    assert "just" not in alone.asks


@given(
    here=st.floats(0.0, 0.2),
    above=st.floats(0.0, 0.2) | st.just(np.nan),
    below=st.floats(0.0, 0.2) | st.just(np.nan),
    errors=st.tuples(*[st.floats(0.0, 0.02)] * 3),
)
def test_a_limit_holds_only_where_all_three_do(
    here: float, above: float, below: float, errors: tuple[float, float, float]
) -> None:
    limit = RULES["hand_work.gradient"]
    spot = grade_spot(
        slope=here, slope_error=errors[0], bed=BedAround(above, errors[1], below, errors[2])
    )
    every = [
        np.isnan(v) or v + e <= limit.high + 1e-9
        for v, e in zip((here, above, below), errors, strict=True)
    ]
    assert no_steeper(spot, limit, so="").passed == all(every)
