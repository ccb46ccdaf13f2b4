"""Flow fields: steps, donors, sums and order."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine

from terrain.flow.conditioning import condition
from terrain.flow.flow_field import FlowField, cell_index_dtype
from terrain.values.errors import EngineError, ParameterError
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.terrain import oracle
from tests.terrain.surfaces import random_cases


def field(codes: list[list[int]], height_m: float = 1.0, width_m: float = 1.0) -> FlowField:
    table = np.array(codes, dtype=np.uint8)
    return FlowField(Grid(*table.shape, Affine(width_m, 0, 0, 0, -height_m, 0)), table)  # type: ignore[call-arg]


def tall(rows: int = 200, cols: int = 30, seed: int = 1) -> FlowField:
    """Flow over several bands, with voids."""
    rng = np.random.default_rng(seed)
    z = rng.normal(size=(rows, cols)) + 0.2 * np.arange(rows)[:, None]
    z[rng.random(z.shape) < 0.02] = np.nan
    return condition(Raster.from_array(z)).flow


def test_code_lengths_on_oblong_cells() -> None:
    flow = field([[8]], height_m=3, width_m=4)
    assert flow.step_m.tolist() == [3, 5, 4, 5, 3, 5, 4, 5]


def test_downstream_cells() -> None:
    flow = field([[2, 4, 6], [3, 8, 7], [1, 0, 255]])
    all_cells = np.arange(9)
    assert flow.downstream(all_cells).tolist() == [1, 4, 1, 7, -1, 1, 4, 4, -1]


def test_donors_and_sums_of_conditioned_surfaces() -> None:
    rng = np.random.default_rng(2)
    for case in random_cases(2, 30):
        flow = condition(case.raster).flow
        np.testing.assert_array_equal(flow.donors(), oracle.donor_counts(flow.codes))
        counts = flow.accumulate()
        np.testing.assert_array_equal(counts, oracle.accumulate(flow.codes))
        amount = rng.random(flow.grid.shape)
        np.testing.assert_allclose(
            flow.accumulate(amount), oracle.accumulate(flow.codes, amount), rtol=1e-12
        )


def test_counts_are_exact_integers() -> None:
    flow = tall()
    counts = flow.accumulate()
    assert counts.dtype == np.int32
    assert not counts.flags.writeable
    np.testing.assert_array_equal(counts, oracle.accumulate(flow.codes))
    assert counts[flow.codes == 8].sum() == np.count_nonzero(flow.codes != 255)


def test_small_integers_do_not_overflow() -> None:
    flow = field([[2] * 399 + [8]])
    sums = flow.accumulate(np.ones((1, 400), dtype=np.uint8))
    assert sums.dtype == np.float64
    assert sums[0, -1] == 400


def test_what_stands_in_voids_is_left_out() -> None:
    flow = field([[2, 2, 8, 255]])
    assert flow.accumulate(np.array([[1.0, 2.0, 3.0, np.nan]])).tolist() == [[1, 3, 6, 0]]


@pytest.mark.parametrize("cells", [2**31 - 1, 2**31, 2**33])
def test_counts_are_wide_enough_for_the_grid(cells: int) -> None:
    assert np.iinfo(cell_index_dtype(cells)).max >= cells


def test_narrow_counts_where_they_do() -> None:
    assert cell_index_dtype(2**31 - 1) is np.int32


def test_order_over_bands() -> None:
    flow = tall(seed=3)
    order = flow.order()
    assert order.size == np.count_nonzero(flow.codes != 255)
    place = np.full(flow.grid.size, -1)
    place[order] = np.arange(order.size)
    down = flow.downstream(order)
    assert (place[order][down >= 0] < place[down[down >= 0]]).all()


def test_circles_are_found() -> None:
    with pytest.raises(EngineError, match=r"circle \(2 cells never drain\)"):
        field([[2, 6, 8]]).accumulate()
    with pytest.raises(EngineError, match="circle"):
        field([[3, 4, 8], [0, 6, 8], [8, 8, 8]]).accumulate()


def test_circles_over_a_band_edge_are_found() -> None:
    codes = np.full((130, 1), 8, dtype=np.uint8)
    codes[63], codes[64] = 4, 0
    flow = FlowField(Grid(130, 1, Affine(1, 0, 0, 0, -1, 0)), codes)
    with pytest.raises(EngineError, match="2 cells"):
        flow.accumulate()


def test_codes_are_checked_and_cannot_be_written() -> None:
    flow = field([[8]])
    with pytest.raises(ValueError, match="read-only"):
        flow.codes[0, 0] = 1
    with pytest.raises(ParameterError, match="int64"):
        FlowField(flow.grid, np.zeros((1, 1), dtype=np.int64))  # type: ignore[arg-type]
    with pytest.raises(ParameterError, match=r"shape \(2, 1\)"):
        FlowField(flow.grid, np.zeros((2, 1), dtype=np.uint8))
