"""The lidar pass: the same each time, as noisy as said, and dull where a survey is dull."""

from __future__ import annotations

import numpy as np
import pytest

from sample_dem.lidar import Survey, survey_ground

BARE = Survey(brush_share=0.0, pits_per_ha=0.0, swath_m=0.0)


def _step(height_m: float) -> np.ndarray:
    """A gentle plane at 0.5 m that falls by ``height_m`` over one cell halfway down."""
    rows = np.arange(160)[:, None]
    return np.broadcast_to(100 - 0.01 * rows - height_m * (rows >= 80), (160, 160)).copy()


def test_the_same_seed_gives_the_same_survey_and_another_seed_another() -> None:
    clean = _step(1.0)
    one, again = survey_ground(clean, 0.5, 1.0, 3), survey_ground(clean, 0.5, 1.0, 3)
    assert one.shape == (80, 80)
    assert one.dtype == np.float32
    assert one.tobytes() == again.tobytes()
    assert one.tobytes() != survey_ground(clean, 0.5, 1.0, 4).tobytes()


@pytest.mark.parametrize("by_distance", [False, True])
@pytest.mark.parametrize("out_cell_m", [0.5, 1.0, 2.0, 3.0, 5.0])
def test_open_ground_comes_out_within_the_noise_of_one_point(
    out_cell_m: float, by_distance: bool
) -> None:
    rows, cols = np.indices((300, 300))
    clean = 50 + 0.02 * rows + 0.03 * cols
    how = Survey(brush_share=0.0, pits_per_ha=0.0, swath_m=0.0, by_distance=by_distance)
    out = survey_ground(clean, 0.5, out_cell_m, 1, how)
    n = int(150 / out_cell_m)
    assert out.shape == (n, n)
    r, c = (np.indices((n, n)) + 0.5) * out_cell_m / 0.5 - 0.5
    off = (out - (50 + 0.02 * r + 0.03 * c))[2:-2, 2:-2]
    assert abs(np.median(off)) < 0.02
    assert off.std() < 0.06
    assert off.std() > 0.05 / 3 / np.sqrt(8 * out_cell_m**2)


def test_a_sharp_drop_is_spread_over_metres_but_none_of_it_is_lost() -> None:
    out = survey_ground(_step(2.0), 0.5, 1.0, 2, BARE)
    profile = out.mean(axis=1)
    fall = profile[:-1] - profile[1:] - 0.02
    assert profile[25:30].mean() - profile[50:55].mean() - 0.5 == pytest.approx(2.0, abs=0.1)
    held = np.sort(fall)[::-1]
    assert held[0] < 1.5  # in one cell of the surface itself it is all of 2 m
    # single columns: most of the drop lies within 3 to 8 m, in no more
    lengths = []
    for column in out.T:
        whole = (column[30:50] < column[25:30].mean() - 0.4) & (
            column[30:50] > column[50:55].mean() + 0.4
        )
        lengths.append(whole.sum())
    assert 0 < np.median(lengths) <= 6


def test_few_points_leave_straight_facets() -> None:
    rng = np.random.default_rng(0)
    clean = 20 + np.cumsum(rng.normal(0, 0.05, (240, 240)), axis=0)
    thick = survey_ground(clean, 0.5, 0.5, 5, Survey(density_per_m2=8.0, pits_per_ha=0.0))
    thin = survey_ground(clean, 0.5, 0.5, 5, Survey(density_per_m2=0.2, pits_per_ha=0.0))

    def bent(z: np.ndarray) -> float:
        return float((np.abs(np.diff(z, 2, axis=0)) > 1e-3).mean())

    assert bent(thin) < 0.7 * bent(thick)


def test_pits_are_one_cell_wide_and_as_many_as_asked() -> None:
    clean = np.full((400, 400), 10.0)
    how = Survey(brush_share=0.0, pits_per_ha=3.0, vertical_m=0.02, swath_m=0.0)
    out = survey_ground(clean, 0.5, 1.0, 6, how)
    deep = out < 9.7
    assert 5 <= deep.sum() <= 40
    assert survey_ground(clean, 0.5, 1.0, 6, BARE).min() > 9.7


def test_still_water_comes_out_flat() -> None:
    clean = np.full((200, 200), 10.0)
    water = np.zeros(clean.shape, bool)
    water[60:120, 60:120] = True
    out = survey_ground(clean, 0.5, 1.0, 7, water=water)
    assert np.ptp(out[32:58, 32:58]) == 0
    assert np.ptp(out[70:, 70:]) > 0
