"""The file of prices: complete, sourced, in order; and what a wrong one says."""

from __future__ import annotations

from pathlib import Path

import pytest

from siting.structures.structure_type import ITEMS
from siting.values.input_errors import CostError
from siting.works.costs import BASES, load_costs
from terrain.values.errors import GullywalkError

OWN = Path(__file__).resolve().parents[2] / "siting" / "costs.toml"
REST = 'source = "quote of the quarry"\nbasis = "own quote"\n'
LOGS = '[items.logs]\nlow = 1\nlikely = 2\nhigh = 3\nunit = "m"\n' + REST


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "my_costs.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_item_has_a_price_and_a_productivity_in_its_own_unit() -> None:
    costs = load_costs()
    for item, (unit, _) in ITEMS.items():
        assert costs[f"items.{item}"].unit == unit
        assert costs[f"work.{item}"].unit == f"{unit} per person-day"
    assert {n.split(".")[1] for n in costs.figures if n.startswith("items.")} == set(ITEMS)
    assert costs.wholes
    for entry in costs.wholes:
        assert f"work.{entry}" in costs.figures


def test_every_figure_is_in_order_and_says_where_it_comes_from() -> None:
    for figure in load_costs().figures.values():
        assert 0 <= figure.low <= figure.likely <= figure.high
        assert figure.basis in BASES
        assert figure.meaning[0].isupper()
        published = figure.basis == "published"
        assert published == ("Catalog, p." in figure.source), figure.name
        if not published:
            assert "no published" in figure.source, figure.name


def test_published_ranges() -> None:
    """After Wildfire guide for New Mexico, channel and road treatments: US$ each, 2000s prices."""
    costs = load_costs()
    dam, dip = costs["compare.check_dam"], costs["whole.rolling_dip"]
    assert (dam.low, dam.high) == (150, 600)
    assert (dip.low, dip.high) == (390, 1200)


def test_hand_rock_is_half_to_one_and_a_half_cubic_metres() -> None:
    """Common practice: 0.5 to 1.5 m3 a person and day, at 1.6 t/m3 of loose stone."""
    costs = load_costs()
    for name in ("stone_small", "stone_medium", "stone_large"):
        assert list(costs[f"work.{name}"].levels / 1.6) == pytest.approx([0.5, 1.0, 1.5])


def test_a_file_that_holds_one_price_changes_only_that(tmp_path: Path) -> None:
    costs, usual = load_costs(write(tmp_path, "version = 1\n" + LOGS)), load_costs()
    assert list(costs["items.logs"].levels) == [1, 2, 3]
    assert costs["items.logs"].meaning == usual["items.logs"].meaning
    assert costs.changed == ("items.logs",)
    assert costs.origin == "my_costs.toml"
    assert costs.currency == "US$"
    others = [n for n in usual.figures if n != "items.logs"]
    assert all(costs[n] == usual[n] for n in others)


def test_a_copy_of_the_own_file_changes_nothing(tmp_path: Path) -> None:
    assert load_costs(write(tmp_path, OWN.read_text("utf-8"))).changed == ()


def test_a_free_price_may_be_zero(tmp_path: Path) -> None:
    free = LOGS.replace("low = 1\nlikely = 2\nhigh = 3", "low = 0\nlikely = 0\nhigh = 0")
    assert load_costs(write(tmp_path, "version = 1\n" + free))["items.logs"].high == 0


def test_another_currency_asks_for_every_price(tmp_path: Path) -> None:
    with pytest.raises(CostError, match="is in EUR but gives no price for items"):
        load_costs(write(tmp_path, 'version = 1\ncurrency = "EUR"\n' + LOGS))
    whole = OWN.read_text("utf-8").replace('currency = "US$"', 'currency = "EUR"')
    start, end = whole.index("[compare.check_dam]"), whole.index("# ---- Productivity")
    costs = load_costs(write(tmp_path, whole[:start] + whole[end:]))
    assert costs.currency == "EUR"
    assert "compare.check_dam" not in costs.figures
    assert "whole.rolling_dip" in costs.figures


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("version = 1\n" + LOGS.replace('unit = "m"\n', ""), 'has no unit; expected unit = "m"'),
        ("version = 1\n" + LOGS.replace('"m"', '"ft"'), "items.logs is in ft; expected m. Convert"),
        ("version = 1\n" + LOGS.replace("logs", "log"), "items.log, which is not known"),
        ("version = 1\n" + LOGS.replace("items", "item"), r"\[item\], which is not known"),
        ("version = 1\n" + LOGS.replace("low = 1", "low = 2.5"), "low 2.5 is above likely 2"),
        ("version = 1\n" + LOGS.replace("likely = 2", "likely = 4"), "likely 4 is above high 3"),
        ("version = 1\n" + LOGS.replace("low = 1", "low = -1"), "low is -1; expected zero or more"),
        ("version = 1\n" + LOGS.replace("low = 1", "low = nan"), "low is nan"),
        ("version = 1\n" + LOGS.replace("low = 1", 'low = "cheap"'), "low is 'cheap'"),
        ("version = 1\n" + LOGS.replace("low = 1\n", ""), "has no low"),
        ("version = 1\n" + LOGS.replace('source = "quote of the quarry"\n', ""), "has no source"),
        ("version = 1\n" + LOGS.replace("own quote", "hearsay"), "basis is 'hearsay'"),
        ("version = 1\n" + LOGS + "price = 3\n", "holds price, which is not known"),
        (
            "version = 1\n"
            + LOGS.replace("items", "work")
            .replace('"m"', '"m per person-day"')
            .replace("low = 1", "low = 0"),
            "low is 0; expected more than zero",
        ),
        ("version = 2\n" + LOGS, "is of version 2; expected version = 1"),
        ("version = true\n" + LOGS, "is of version True"),
        (LOGS, "states no version"),
        ("version = 1\ncurrency = 3\n", "currency is 3"),
        ('version = 1\ncurrency = " "\n', "currency is ' '"),
        ("version = 1\nitems = 3\n", r"\[items\], which is not known"),
        ("version 1", "not valid TOML"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(CostError, match=says) as caught:
        load_costs(write(tmp_path, text))
    assert isinstance(caught.value, GullywalkError)
    assert "\n" not in str(caught.value)
    assert "my_costs.toml" in str(caught.value)


def test_a_missing_file_and_a_binary_one(tmp_path: Path) -> None:
    with pytest.raises(CostError, match="cannot be read"):
        load_costs(tmp_path / "none.toml")
    (tmp_path / "bin.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CostError, match="cannot be read"):
        load_costs(tmp_path / "bin.toml")
