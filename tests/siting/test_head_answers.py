"""What became of a headcut is its site or a reason; anything else is a mistake of the program."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from siting.record.head_answers import answer_columns
from tests.siting.conftest import ground_of, gully_raster, sites_on


def test_a_headcut_without_site_and_reason_is_a_mistake_of_the_program() -> None:
    ground = ground_of(gully_raster(drop_m=0.6))
    sites, _ = sites_on(ground)
    every = np.arange(ground.headcuts.size)
    told = answer_columns(ground, sites, every)
    assert set(told["answer"].tolist()) >= {"site"}
    assert set(zip(told["answer"] == "site", told["site_id"] > 0, strict=True)) <= {
        (True, True),
        (False, False),
    }
    lost: Any = ()
    with pytest.raises(RuntimeError, match=r"headcut \d+ is no site, and nothing says why"):
        answer_columns(ground, lost, every)
