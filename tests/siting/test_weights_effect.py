"""Which sites change rank under other weights, in a table and in sentences."""

from __future__ import annotations

import numpy as np
import pytest

from siting.works.ranking import Ranking
from siting.works.weights_effect import WeightsEffect, weights_effect
from terrain.values.errors import ParameterError


def ranking(*ranks: int) -> Ranking:
    n = len(ranks)
    return Ranking(np.zeros(n), np.array(ranks, dtype=np.int64), np.zeros((n, 5)))


def effect(default, used) -> WeightsEffect:
    return weights_effect(ranking(*default), ranking(*used))


def test_the_table_is_in_the_order_in_use() -> None:
    columns = effect([1, 2, 3], [3, 1, 2]).columns()
    assert list(columns["site_id"]) == [2, 3, 1]
    assert list(columns["rank_default"]) == [2, 3, 1]
    assert list(columns["rank"]) == [1, 2, 3]


def test_sentences_name_what_moved() -> None:
    said = effect([1, 2, 3, 4], [3, 1, 2, 4]).sentences()
    assert said == (
        "These weights change the rank of 3 of 4 sites, by up to 2 places.",
        "Site 1 falls from rank 1 to 3.",
        "Site 2 rises from rank 2 to 1.",
        "Site 3 rises from rank 3 to 2.",
    )


def test_a_change_near_the_top_comes_before_a_long_way_at_the_bottom() -> None:
    default = list(range(1, 41))
    used = [2, 1, *range(3, 31), *range(32, 41), 31]
    said = effect(default, used).sentences(most=3)
    assert said[0].endswith("change the rank of 12 of 40 sites, by up to 9 places.")
    assert said[1] == "Site 1 falls from rank 1 to 2."
    assert said[2] == "Site 2 rises from rank 2 to 1."
    assert said[3] == "Site 40 rises from rank 40 to 31."
    assert said[4] == "9 sites more change rank."
    assert len(said) == 5


def test_nothing_moves() -> None:
    assert effect([1, 2], [1, 2]).sentences() == ("These weights leave every site at its rank.",)
    assert effect([], []).sentences() == ()
    assert effect([], []).columns()["site_id"].size == 0


def test_gains_sum_to_nothing() -> None:
    rng = np.random.default_rng(2)
    found = effect(rng.permutation(50) + 1, rng.permutation(50) + 1)
    assert found.gain.sum() == 0
    assert len(found.sentences(most=50)) == 1 + np.count_nonzero(found.gain)


def test_the_rankings_stay_writable_and_the_effect_does_not() -> None:
    default, used = ranking(1, 2), ranking(2, 1)
    found = weights_effect(default, used)
    default.rank[0] = 1
    with pytest.raises(ValueError, match="read-only"):
        found.rank[0] = 5


def test_what_cannot_be_compared() -> None:
    with pytest.raises(ParameterError, match="rankings of 2 and 3 sites"):
        effect([1, 2], [1, 2, 3])
    with pytest.raises(ParameterError, match="0 sentences"):
        effect([1, 2], [2, 1]).sentences(most=0)
