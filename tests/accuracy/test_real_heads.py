"""Headcuts on real rasters against marks made twice by eye.

The weights were fitted on these marks too; `python -m tests.accuracy.accuracy_table` scores each
raster by weights fitted without it. These floors only keep what is there from getting lost.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.accuracy.accuracy_table import heads_on
from tests.accuracy.fit_confidence import INCOMPLETE
from tests.accuracy.real_marks import REAL, count, marks_of


@pytest.mark.real
def test_real_heads_are_found_and_few_finds_are_wrong() -> None:
    rasters = marks_of(REAL)
    if not rasters:
        pytest.skip("no real rasters with marks beside the checkout")
    total = np.zeros(5, dtype=int)
    for name, (raster, marks) in rasters.items():
        heads = heads_on(raster)
        heads = heads.take(heads.confidence >= 0.5)
        small = (heads.headcut_height_m < 0.5) | (heads.drainage_area_ha < 0.03)
        row = np.array(count(np.column_stack([heads.x_m, heads.y_m]), small, marks))
        if name in INCOMPLETE:
            row[2:] = 0
        total += row
    agreed, found, right, wrong, doubles = total.tolist()
    print(f"{found} of {agreed} agreed heads; {right} right, {wrong} wrong, {doubles} doubles")
    assert agreed >= 60
    assert found / agreed >= 0.45
    assert right / (right + wrong + doubles) >= 0.70
