"""Scores, ranks, ties, and the sentence that says why first is first."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from siting.values.input_errors import RulesError
from siting.works.ranking import MEASURES, load_weights, rank_sites, why_first
from tests.siting.example_sites import RULES, place, sites_of


def ranked(places, **more):
    sites = sites_of(places, **more)
    return sites, rank_sites(sites, rules=RULES, weights=load_weights())


def test_whole_ground_above_comes_before_ground_that_is_cut_already() -> None:
    _, r = ranked([place(above=0.9), place(above=0.0)])
    assert list(r.rank) == [2, 1]


def test_a_base_comes_before_a_head_further_up() -> None:
    _, r = ranked([place(heads_below=2), place(heads_below=0)])
    assert list(r.rank) == [2, 1]


def test_a_narrow_channel_comes_before_a_wide_one() -> None:
    _, r = ranked([place(), place()], width=[11.0, 2.0])
    assert list(r.rank) == [2, 1]


def test_more_land_makes_a_head_more_urgent() -> None:
    _, r = ranked([place(), place()], area=[0.5, 9.0])
    assert list(r.rank) == [2, 1]


def test_head_before_series_before_what_is_referred() -> None:
    _, r = ranked([place("refer", drop=1.5), place("grade"), place()])
    assert list(r.rank)[2] == 1
    assert r.score[2] > r.score[1]
    assert r.score[2] > r.score[0]


def test_score_by_hand() -> None:
    """Measures and weights multiplied out, for one head."""
    sites, r = ranked([place(drop=0.6, above=0.25, confidence=0.8)], area=10.0, width=3.0)
    worth, urgency = 1 - 0.25 / 1.0, 0.6 / 1.2
    ease = 0.5 * ((1 - 0.6 / 1.2) + (1 - 3 / 12))
    by_hand = 0.30 * worth + 0.20 * urgency + 0.20 * ease + 0.15 * 1.0 + 0.15 * 0.8
    assert r.score[0] == pytest.approx(by_hand, abs=0.0005)
    assert r.measures[0] == pytest.approx([worth, urgency, ease, 1.0, 0.8])
    assert sites.count == 1


def test_equal_scores_keep_the_order_of_ids() -> None:
    _, r = ranked([place() for _ in range(6)])
    assert list(r.rank) == [1, 2, 3, 4, 5, 6]


def test_a_pair_shares_the_score_of_its_head_and_stays_together_base_first() -> None:
    places = [
        place("grade", headcut=0, group=2, build_order=1),
        place("grade", headcut=1, group=1, build_order=1),
        place(group=1, build_order=2),
        place(group=2, build_order=2),
    ]
    sites, r = ranked(places)
    assert r.score[0] == r.score[3]
    assert r.score[1] == r.score[2]
    # all four are equal: groups stay whole and start with their lowest id
    assert list(np.argsort(r.rank)) == [0, 3, 1, 2]
    assert "the base of site 4" in why_first(sites, r, load_weights())
    assert "Equal scores are listed by site number" in why_first(sites, r, load_weights())


def test_a_series_ranks_from_its_base_up() -> None:
    places = [place("grade", group=1, build_order=k) for k in (1, 2, 3)]
    _, r = ranked(places)
    assert list(r.rank) == [1, 2, 3]
    assert r.score[0] > r.score[1] > r.score[2]


def test_ranks_are_a_count_and_scores_lie_between_0_and_1() -> None:
    rng = np.random.default_rng(4)
    places = [
        place(
            rng.choice(["vertical", "grade", "spread", "refer"]),
            drop=rng.uniform(0.3, 3),
            above=rng.uniform(-0.2, 2),
            confidence=rng.uniform(0.5, 1),
            heads_below=int(rng.integers(0, 4)),
        )
        for _ in range(200)
    ]
    _, r = ranked(
        places,
        area=rng.uniform(0.2, 60, 200),
        width=rng.uniform(1, 30, 200),
        depth=rng.uniform(0.1, 3, 200),
    )
    assert sorted(r.rank) == list(range(1, 201))
    assert (r.score >= 0).all()
    assert (r.score <= 1).all()
    assert ((r.measures >= 0) & (r.measures <= 1)).all()
    assert (np.diff(r.score[np.argsort(r.rank)]) <= 0).all()


def test_why_first_names_what_sets_it_apart() -> None:
    sites, r = ranked([place(above=0.95), place(above=0.0), place(above=0.9)])
    sentence = why_first(sites, r, load_weights())
    assert sentence.startswith("Site 2 (rock bowl) comes first")
    assert "still whole" in sentence
    assert "0.80 m" in sentence
    assert why_first(*ranked([]), load_weights()) == ""  # type: ignore[call-arg]


def test_what_is_referred_is_not_called_easy() -> None:
    sites, r = ranked([place("refer", drop=1.3), place("refer", drop=3.0)])
    assert "little stone" not in why_first(sites, r, load_weights())


def test_weights_change_the_order(tmp_path: Path) -> None:
    places = [place(above=0.0, heads_below=3), place(above=0.9, heads_below=0)]
    usual = ranked(places)[1]
    path = tmp_path / "my_weights.toml"
    path.write_text(
        'version = 1\n[weights.worth]\nvalue = 0\nreason = "no meadow here"\n'
        '[weights.base]\nvalue = 0.9\nreason = "base first"\n',
        encoding="utf-8",
    )
    changed = rank_sites(sites_of(places), rules=RULES, weights=load_weights(path))
    assert list(usual.rank) == [1, 2]
    assert list(changed.rank) == [2, 1]


def test_weights_of_the_package_are_whole() -> None:
    weights = load_weights()
    assert set(weights.weights) == set(MEASURES)
    assert sum(weights.weights.values()) == pytest.approx(1.0)
    assert set(weights.factors) == {"vertical", "grade", "spread", "refer"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('version = 1\n[weights.worth]\nvalue = -1\nreason = "x"\n', "is -1"),
        ("version = 1\n[weights.worth]\nvalue = 1\n", "has no reason"),
        ('version = 1\n[weights.wurth]\nvalue = 1\nreason = "x"\n', "not known"),
        ('version = 1\n[factors.refer]\nvalue = 1.5\nreason = "x"\n', "above 1"),
        ("version = 0\n", "an older one"),
        (
            "version = 1\n"
            + "".join(f'[weights.{m}]\nvalue = 0\nreason = "x"\n' for m in MEASURES),
            "all weights are zero",
        ),
    ],
)
def test_wrong_weights_are_refused(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "w.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RulesError, match=says):
        load_weights(path)
