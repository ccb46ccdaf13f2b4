"""Rules of spacing beside check dams that were surveyed where they stand."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from siting.structures.spacing import head_to_toe_m, heede_mufich_m, wedge_m


def test_surveyed_check_dams_of_an_experimental_range(real_dem: Callable[[str], Path]) -> None:
    """USDA Agricultural Research Service, Santa Rita Experimental Range: 37 loose-rock check dams.

    A survey of points, no worked answer, so it does not count among them. From dam to dam, medians
    are 10.5 m along, 0.54 m up and 5.1 %. Dams as high as that rise stand head to toe there, 10.4
    to 10.8 m within the rounding of the medians; the wider rules would put them at twice and at
    more than three times that distance.
    """
    text = real_dem("real/srer_checkdams.geojson").read_text("utf-8")
    rows = [f["properties"] for f in json.loads(text)["features"]]
    assert len(rows) == 37
    pairs = [(r["dist_prev_m"], r["rise_prev_m"]) for r in rows if r["dist_prev_m"] is not None]
    along, rise = np.array(pairs, dtype=float).T
    assert np.median(along) == pytest.approx(10.5, abs=0.05)
    assert np.median(rise) == pytest.approx(0.54, abs=0.005)
    assert np.median(rise / along) == pytest.approx(0.051, abs=0.0005)
    closest, farthest = head_to_toe_m([0.535, 0.545], [0.0515, 0.0505])
    assert closest < np.median(along) < farthest
    assert wedge_m(0.54, 0.051) / np.median(along) == pytest.approx(2.0, abs=0.05)
    assert heede_mufich_m(0.54, 0.051) / np.median(along) > 3
