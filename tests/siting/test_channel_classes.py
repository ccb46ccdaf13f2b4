"""Classes of channels by their proportions, at limits kept from memory, and stages of incision."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.channel_classes import confinement_class, incision_stage


@pytest.mark.parametrize(
    ("ratio", "name"), [(1.5, "confined"), (3.0, "partly confined"), (9.0, "unconfined")]
)
def test_confinement(ratio: float, name: str) -> None:
    """Valley floor over bankfull width: 2 and 4 (from memory)."""
    assert confinement_class(np.array([ratio]))[0] == name


def stage(ratio: float, width: float, depth: float, bench: float, entrenchment: float) -> int:
    stages, confidence = incision_stage(
        bank_height_ratio=np.array([ratio]),
        bank_width_m=np.array([width]),
        bank_depth_m=np.array([depth]),
        bench_m=np.array([bench]),
        entrenchment_ratio=np.array([entrenchment]),
        sure=np.array([True]),
    )
    assert 0.0 <= confidence[0] <= 0.7
    assert (stages[0] > 0) == (confidence[0] > 0)
    return int(stages[0])


def test_stages_of_incision() -> None:
    """Order of the stages: Schumm, Harvey and Watson, 1984; how a section shows them is common
    practice without a published source."""
    assert stage(1.0, 4.0, 0.8, np.nan, 4.0) == 1
    assert stage(3.0, 4.0, 1.5, np.nan, 1.2) == 2
    assert stage(3.0, 12.0, 1.5, np.nan, 1.3) == 3
    assert stage(3.0, 12.0, 1.5, 0.5, 1.8) == 4
    assert stage(3.0, 16.0, 1.5, 0.5, 3.0) == 5
    # a swale of 0.3 m is not incised, however shallow its flow
    assert stage(6.0, 5.0, 0.3, np.nan, 9.0) == 1
    assert stage(np.nan, np.nan, np.nan, np.nan, 2.0) == 0


def test_a_stage_near_its_limit_is_less_sure() -> None:
    _, confidence = incision_stage(
        bank_height_ratio=np.array([1.32, 4.0]),
        bank_width_m=np.array([3.0, 3.0]),
        bank_depth_m=np.array([1.5, 1.5]),
        bench_m=np.array([np.nan, np.nan]),
        entrenchment_ratio=np.array([1.2, 1.2]),
        sure=np.array([True, True]),
    )
    assert confidence[0] < confidence[1]
