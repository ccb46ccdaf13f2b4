from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from siting.layout.keep_clear import KeepClear
from siting.layout.measuring import BuildSettings
from siting.places.spot import Earth, Stock
from siting.record.settings_used import (
    SettingsUsed,
    costs_text,
    keep_of,
    keep_text,
    rules_text,
    settings_of,
)
from siting.values.input_errors import CostError, RulesError
from siting.values.rules import load_rules
from siting.values.settings_file import SettingsText
from siting.works.costs import Costs, load_costs
from siting.works.takes import Means
from siting.works.work import Judging

OWN_COSTS = Path(__file__).parents[2] / "siting" / "costs.toml"
MY_RULES = """version = 1
[hand_work.drop]
value = 1.0123456789012345
unit = "m"
source = "our crew's \\"own\\" rule \\\\ \\t 🪵 \\u007f"
basis = "from memory"
meaning = "What two people manage"
"""


def keep() -> KeepClear:
    shapes = np.empty(3, dtype=object)
    shapes[:] = [
        shapely.LineString([(500_000.1, 4_000_000.123456789), (1 / 3, 2 / 3)]),
        shapely.MultiPolygon([shapely.box(0, 0, 1, 1)]),
        shapely.Point(0.1 + 0.2, 7.0),
    ]
    names = np.array(["lane 'a'", "", "بئر"], dtype=object)
    kinds = np.array(["road", "building", "other"], dtype=object)
    return KeepClear(shapes, kinds, names, np.array([True, False, False]), ("2 km of road.",))


def same_costs(a: Costs, b: Costs) -> bool:
    return (dict(a.figures), a.currency, a.origin, a.changed) == (
        dict(b.figures),
        b.currency,
        b.origin,
        b.changed,
    )


@pytest.mark.parametrize("given", [None, SettingsText("ours.toml", MY_RULES)])
def test_limits_come_back_exactly(given: SettingsText | None) -> None:
    rules = load_rules(given)
    back = load_rules(SettingsText(rules.origin, rules_text(rules)))
    assert dict(back.limits) == dict(rules.limits)
    assert (back.origin, back.changed) == (rules.origin, rules.changed)
    assert rules.changed == (() if given is None else ("hand_work.drop",))


def test_costs_come_back_exactly_in_another_currency_too() -> None:
    other = OWN_COSTS.read_text("utf-8").replace('currency = "US$"', 'currency = "Taler"')
    changed = other.replace("likely = 25", "likely = 25.000000000000004", 1)
    for given in (None, SettingsText("a.toml", other), SettingsText("b.toml", changed)):
        costs = load_costs(given)
        assert same_costs(load_costs(SettingsText(costs.origin, costs_text(costs))), costs)
    assert costs.currency == "Taler"
    assert costs.changed == ("items.stone_small",)


def test_what_is_kept_clear_of_comes_back_to_the_last_digit() -> None:
    given, back = keep(), keep_of(keep_text(keep()))
    assert shapely.equals_exact(back.shapes, given.shapes).all()
    for name in ("kind", "name", "from_roads"):
        assert getattr(back, name).tolist() == getattr(given, name).tolist()
    assert back.notes == given.notes


def used() -> SettingsUsed:
    return SettingsUsed(
        rules=load_rules(SettingsText("ours.toml", MY_RULES)),
        means=Means(spare=0.1 + 0.2, crew_size=5, budget=1234.5, crew_days=None),
        build=BuildSettings(
            stock=Stock(frozenset({"rock", "logs"}), "Engelmann spruce", 2701.5, 12.25),
            design_period_yr=25.0,
            keep=keep(),
            earth=Earth("ML", "bunch grass"),
        ),
        judging=Judging(12.5, "crew-days"),
        division="intermontane",
        floods={"curve_number": 79.0, "methods": ["graphical"]},
    )


def test_all_settings_of_a_run_come_back_equal() -> None:
    given = used()
    back = settings_of(given.texts())
    assert back.texts() == given.texts()
    assert back.build.stock == given.build.stock
    assert back.build.earth == given.build.earth
    assert back.build.design_period_yr == 25.0
    assert back.means.spare == given.means.spare
    assert (back.means.crew_size, back.means.budget, back.means.crew_days) == (5, 1234.5, None)
    assert same_costs(back.means.costs, given.means.costs)
    assert (back.judging, back.division) == (given.judging, "intermontane")
    assert back.floods == given.floods
    assert list(given.columns()["name"]) == list(given.texts())


def test_without_roads_there_is_no_text_of_them() -> None:
    plain = SettingsUsed(load_rules(), Means(), BuildSettings())
    assert "keep" not in plain.texts()
    assert settings_of(plain.texts()).build.keep is None


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"stock": None}, "hold no readable 'stock'"),
        ({"means": "[1, 2]"}, "hold no readable 'means'"),
        ({"means": "{}"}, "'spare' is missing"),
        ({"design": '{"rules_file": 1}'}, "is missing or of a wrong kind"),
        (
            {"means": '{"spare": "much", "crew_size": 4, "budget": null, "crew_days": null}'},
            "'much' is missing or of a wrong kind",
        ),
        ({"rules": "version = 99"}, "ours.toml is of version 99; expected version = "),
        ({"keep": '{"features": [{}]}'}, "kept clear of cannot be read from the plan"),
        ({"keep": "no"}, "kept clear of cannot be read from the plan"),
    ],
)
def test_texts_that_were_spoilt_are_told_in_one_line(
    change: dict[str, str | None], message: str
) -> None:
    texts = {k: v for k, v in (used().texts() | change).items() if v is not None}
    with pytest.raises(RulesError, match=message) as caught:
        settings_of(texts)
    assert "\n" not in str(caught.value)


def test_spoilt_costs_are_told_too() -> None:
    with pytest.raises(CostError, match=r"costs\.toml is not valid TOML"):
        settings_of(used().texts() | {"costs": "version = ="})


def test_a_plan_of_before_bed_and_banks_has_no_soil() -> None:
    texts = {name: text for name, text in used().texts().items() if name != "earth"}
    assert settings_of(texts).build.earth == Earth()
