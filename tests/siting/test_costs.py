"""The file of prices: complete, sourced, in order; and what a wrong one says."""

from __future__ import annotations

from pathlib import Path

import pytest

from siting.structures.structure_type import ITEMS, Amount
from siting.values.input_errors import CostError
from siting.works.bill import bill, whole_sentence
from siting.works.costs import BASES, Costs, load_costs
from siting.works.quantities import quantities
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
    """After Wildfire guide for New Mexico, channel and road treatments: US$ each, of 2006."""
    costs = load_costs()
    dam, dip = costs["compare.check_dam"], costs["whole.rolling_dip"]
    assert (dam.low, dam.high) == (150, 600)
    assert (dip.low, dip.high) == (390, 1200)
    assert dam.year == dip.year == 2006


def test_a_price_of_a_year_is_brought_to_today_by_its_index() -> None:
    costs = load_costs()
    index = costs.index_of("whole.rolling_dip")
    assert index is not None
    assert index.name == "index.since_2006"
    # consumer prices: 201.6 in 2006, 313.7 in 2024
    assert index.likely == pytest.approx(313.7 / 201.6, abs=0.005)
    assert list(costs.today("whole.rolling_dip")) == pytest.approx(
        [390 * index.low, 795 * index.likely, 1200 * index.high]
    )
    assert costs.index_of("items.logs") is None
    assert list(costs.today("items.logs")) == list(costs["items.logs"].levels)


OWN_DIP = '[whole.rolling_dip]\nlow = 1000\nlikely = 1500\nhigh = 2000\nunit = "each"\n' + REST
INDEX = '[index.since_{}]\nlow = 1.9\nlikely = 2\nhigh = 2.2\nunit = "times"\n' + REST
BALE = (
    '[whole.bale]\nlow = 10\nlikely = 20\nhigh = 30\nunit = "each"\nmeaning = "A bale"\n' + REST
    + '[work.bale]\nlow = 1\nlikely = 2\nhigh = 3\nunit = "each per person-day"\n'
    + 'meaning = "Bales"\n' + REST
)  # fmt: skip


def test_an_own_price_without_a_year_is_of_today_and_the_index_can_be_set(tmp_path: Path) -> None:
    costs = load_costs(write(tmp_path, "version = 1\n" + OWN_DIP))
    assert list(costs.today("whole.rolling_dip")) == [1000, 1500, 2000]
    costs = load_costs(write(tmp_path, "version = 1\n" + INDEX.format(2006)))
    assert list(costs.today("whole.rolling_dip")) == pytest.approx([390 * 1.9, 795 * 2, 1200 * 2.2])
    dated = OWN_DIP.replace('unit = "each"', 'unit = "each"\nyear = 2015', 1)
    index = INDEX.format(2015) + 'meaning = "Since 2015"\n'
    costs = load_costs(write(tmp_path, "version = 1\n" + dated + index))
    assert list(costs.today("whole.rolling_dip")) == pytest.approx([1900, 3000, 4400])


def test_what_stands_behind_a_price_of_a_whole_is_said_as_it_is(tmp_path: Path) -> None:
    def said(costs: Costs) -> str:
        return whole_sentence(["rolling dips"], "whole.rolling_dip", costs)

    usual = said(load_costs())
    assert usual.startswith("Rolling dips are priced as a whole, by a published range (prices of ")
    assert "prices of 2006 times 1.56" in usual
    assert "from memory" in usual
    own = load_costs(write(tmp_path, "version = 1\n" + OWN_DIP))
    assert said(own) == "Rolling dips are priced as a whole, by the price in my_costs.toml."


def test_a_file_may_add_prices_of_wholes(tmp_path: Path) -> None:
    costs = load_costs(write(tmp_path, "version = 1\n" + BALE))
    assert costs.wholes == ("rolling_dip", "bale")
    assert set(costs.changed) == {"whole.bale", "work.bale"}
    found = quantities(
        ((Amount("fill", 3.0),),), site_id=[1], whole=["bale"], costs=costs, spare=0.0, crew_size=2
    )
    priced = bill(found, costs)
    assert priced.money[0, priced.lines.index("bale")].tolist() == [10, 20, 30]
    assert found.other_days[0].tolist() == pytest.approx([1 / 3, 1 / 2, 1])


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
        (
            "version = 1\n" + OWN_DIP + "year = 2015\n",
            r"whole.rolling_dip is of 2015, and there is no \[index.since_2015\]",
        ),
        ("version = 1\n" + OWN_DIP + "year = 12\n", "whole.rolling_dip: year is 12"),
        ("version = 1\n" + INDEX.format(2006) + "year = 2006\n", "index.since_2006: year is 2006"),
        (
            "version = 1\n" + BALE[: BALE.index("[work")],
            r"prices bale as a whole but has no \[work.bale\]",
        ),
        ("version = 1\n" + BALE[BALE.index("[work") :], "holds work.bale, which is not known"),
        ("version = 1\n" + BALE.replace('"each"', '"pair"'), "whole.bale is in pair"),
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
