"""What gives way first at a structure and beside it, and whether the banks stand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import normal_flow
from siting.hydraulics.resistance import covers, soil_names, soil_of, soils, unknown_bare
from siting.places.spot import BedAround, Beyond, Earth, Spot
from siting.structures.bed_and_bank import BedAndBank, bed_and_bank
from siting.structures.bed_and_bank_words import bank_words, bed_cautions, first_words
from terrain.values.errors import ParameterError
from tests.siting.structures.example_spots import (
    UNKNOWN,
    grade_spot,
    head_spot,
    kind_of,
    open_spot,
    road_spot,
)


def beside(spot: Spot, above: float = 0.02, below: float = 0.02, **earth: Any) -> Spot:
    """The place with beds of these slopes next to it, and what they are made of."""
    bed = BedAround(above=above, below=below)
    return replace(spot, bed=bed, earth=Earth(**earth))


def held(spot: Spot, name: str = "one-rock dam") -> BedAndBank:
    found = bed_and_bank(spot, kind_of(name).size(spot))
    assert found is not None
    return found


def test_the_pull_is_that_of_the_likely_flow_on_the_deepest_bed() -> None:
    spot = beside(grade_spot(), above=0.03, below=0.01, soil="ML")
    rows = {row.where: row for row in held(spot).rows}
    assert list(rows) == ["above", "structure", "ends", "below"]
    for where, slope in (("above", 0.03), ("structure", 0.02), ("below", 0.01)):
        flow = normal_flow(spot.section, 0.3, slope=slope, roughness=spot.roughness)
        assert rows[where].shear_pa == pytest.approx(9810 * flow.depth_m * slope)
    # a bank of 2 along for 1 up takes 0.80 of it
    assert rows["ends"].shear_pa == pytest.approx(0.802 * rows["structure"].shear_pa)
    assert rows["above"].velocity_mps > rows["below"].velocity_mps


def test_the_high_end_of_the_flow_does_not_come_in() -> None:
    likely = held(beside(grade_spot()))
    wide = held(beside(grade_spot(q_high_m3s=(9.0,) * 6)))
    # the stone is another one, sized for it; the water is the same
    assert [r.shear_pa for r in wide.rows] == [r.shear_pa for r in likely.rows]


def test_the_section_of_the_stretch_counts_where_it_is_read() -> None:
    wide = CrossSection.trapezoid(9.0, side=2.0, depth_m=0.8)
    narrow = beside(grade_spot())
    spread = replace(narrow, beyond=Beyond(below=wide))
    assert held(spread).rows[-1].shear_pa < 0.6 * held(narrow).rows[-1].shear_pa


def test_the_steeper_side_gives_way_first() -> None:
    assert held(beside(grade_spot(), above=0.04, below=0.01)).first.where == "above"  # type: ignore[union-attr]
    assert held(beside(grade_spot(), above=0.01, below=0.04)).first.where == "below"  # type: ignore[union-attr]


def test_what_is_told_of_soil_and_cover_counts() -> None:
    given = [held(beside(grade_spot(), soil=soil)) for soil in ("SP", "CL", "CH")]
    ratios = [found.reach_ratio or 0.0 for found in given]
    assert all(ratios)
    assert ratios == sorted(ratios, reverse=True)
    grown = held(beside(grade_spot(), soil="SP", cover="sod"))
    assert grown.reach_ratio is not None
    assert grown.reach_ratio < 1 < ratios[-1]
    assert "Nothing gives way" in first_words(beside(grade_spot()), grown)[0]


def test_soil_that_nobody_told_is_a_range_and_no_ratio() -> None:
    spot = beside(grade_spot())
    found = held(spot)
    assert found.reach_ratio is None
    assert found.first.resists == unknown_bare()  # type: ignore[union-attr]
    told = [held(beside(grade_spot(), soil=name)) for name in soils()]
    least, most = found.least_reach_ratio, max(row.most_ratio for row in found.rows)
    assert least is not None
    for other in told:
        assert other.reach_ratio is not None
        if other.rows[0].resists.pull_pa[1] <= 12.0:
            assert least <= other.reach_ratio <= most * 1.0001
    assert bed_cautions(spot, found) == ()
    assert "not told" in first_words(spot, found)[0]


def test_a_floor_where_water_spreads_may_be_grown_over_or_bare() -> None:
    spot = beside(open_spot(), soil="ML")
    found = held(spot, "crescent spreader")
    assert found.reach_ratio is None
    assert {row.where for row in found.rows} == {"above", "structure", "below"}
    bare = held(beside(open_spot(), soil="ML", cover="bare"), "crescent spreader")
    assert bare.reach_ratio == pytest.approx(max(row.most_ratio for row in found.rows))


def test_stone_stands_what_it_was_sized_for() -> None:
    """Sized for the same flow with a factor of safety, so the bed's stone holds by as much."""
    spot = beside(grade_spot(slope=0.028))
    size = kind_of("one-rock dam").size(spot)
    assert size.stone is not None
    assert "pull on the bed" in size.stone.method
    found = held(spot)
    assert found.structure_ratio is not None
    assert found.structure_ratio <= 1 / spot.rules.value("stone.safety") + 1e-9
    ends = next(row for row in found.rows if row.where == "ends")
    assert ends.least_ratio > found.structure_ratio


def test_stone_that_the_banks_do_not_hold_is_said_with_the_size_that_stays() -> None:
    spot = beside(grade_spot(slope=0.028))
    size = kind_of("one-rock dam").size(spot)
    assert size.stone is not None
    weak = replace(size, stone=replace(size.stone, d50_m=size.stone.d50_m / 3))
    found = bed_and_bank(spot, weak)
    assert found is not None
    assert found.structure_ratio is not None
    assert found.structure_ratio > 1
    said = " ".join(bed_cautions(spot, found))
    assert "moves stone on the bed" in said
    assert "moves stone at the ends" in said
    for row in found.rows:
        if row.where in ("structure", "ends"):
            larger = replace(size, stone=replace(size.stone, d50_m=row.asks_d50_m * 1.0001))
            again = bed_and_bank(spot, larger)
            assert again is not None
            (now,) = [r for r in again.rows if r.where == row.where]
            assert now.shear_pa / now.resists.pull_pa[0] <= 1
            if row.where == "ends":
                assert now.least_ratio == pytest.approx(1.0, abs=0.001)


def test_at_a_drop_the_apron_takes_the_flow_below_and_the_ends_that_above() -> None:
    spot = beside(head_spot(), above=0.01, below=0.04)
    rows = {row.where: row for row in held(spot, "rock bowl").rows}
    assert rows["structure"].shear_pa == rows["below"].shear_pa
    assert rows["ends"].shear_pa == pytest.approx(0.802 * rows["above"].shear_pa)


@pytest.mark.parametrize("name", ["log mat", "wicker weir", "log drop"])
def test_without_stone_only_the_bed_is_looked_at(name: str) -> None:
    spot = beside(head_spot() if name == "log drop" else grade_spot(), soil="SM")
    size = kind_of(name).size(spot)
    found = bed_and_bank(spot, replace(size, stone=None))
    assert found is not None
    assert [row.where for row in found.rows] == ["above", "below"]
    assert found.structure_ratio is None
    assert found.reach_ratio is not None


def test_without_a_flow_or_a_bed_there_is_nothing_to_say_but_of_the_bank() -> None:
    dry = beside(grade_spot(q_m3s=UNKNOWN, q_high_m3s=UNKNOWN), soil="ML")
    found = held(dry)
    assert found.rows == ()
    assert found.first is None
    assert found.structure_ratio is found.reach_ratio is found.least_reach_ratio is None
    assert first_words(dry, found) == ()
    assert found.bank is not None
    # a headcut right above and right below: no bed there
    alone = bed_and_bank(beside(grade_spot(), above=math.nan, below=math.nan), None)
    assert alone is not None
    assert alone.rows == ()
    assert bed_and_bank(road_spot(), None) is None


def test_what_holds_is_offered_from_the_weakest_up() -> None:
    def offered(slope: float) -> str:
        spot = beside(grade_spot(), above=slope, below=slope, soil="ML")
        return first_words(spot, held(spot))[1]

    words = [offered(slope) for slope in (0.01, 0.03, 0.05, 0.2)]
    assert words[0].startswith("Short native or bunch grass would hold it")
    assert words[-1].startswith("No grass is sure to hold it there; stone of ")
    assert len(set(words)) == 4


@pytest.mark.parametrize(
    ("depth_m", "said"),
    [
        (0.8, "3.2 m drained."),
        (1.12, "may fall after a flood, within its error of 0.10 m. Keep people away"),
        (2.0, "may fall after a flood. Keep people away from undercut banks."),
        (3.6, "may fall at any time. Keep people away"),
    ],
)
def test_a_bank_of_silt(depth_m: float, said: str) -> None:
    spot = beside(grade_spot(bank_depth_m=depth_m, depth_error_m=0.10), soil="ML")
    found = held(spot)
    assert found.bank is not None
    assert said in bank_words(spot, found.bank)
    cautioned = any("The lower bank" in c for c in bed_cautions(spot, found))
    assert cautioned == found.bank.falls_when_wet == ("may fall" in said)


def test_a_bank_of_clean_sand_lies_back_and_one_without_a_name_is_not_known() -> None:
    sand, silent = beside(grade_spot(), soil="SP"), beside(grade_spot())
    for spot, said in ((sand, "has no cohesion"), (silent, "is not known")):
        bank = held(spot).bank
        assert bank is not None
        assert said in bank_words(spot, bank)
    unseen = beside(grade_spot(bank_depth_m=math.nan), soil="SP")
    assert held(unseen).bank is None


def test_every_soil_goes_by_symbol_and_texture() -> None:
    assert soil_of("sandy  Loam").symbol == "SM"
    assert soil_of("cl-ml").words == "silty clay"
    assert len(set(soil_names())) == len(soil_names())
    with pytest.raises(ParameterError, match="soil 'mud'"):
        soil_of("mud")


def test_every_row_has_a_source_and_a_range_that_grows() -> None:
    rows = [*(s.bare for s in soils().values()), *covers().values(), unknown_bare()]
    for row in rows:
        assert row.source
        assert 0 < row.pull_pa[0] <= row.pull_pa[1] < 200
        assert 0.5 < row.speed_mps[0] <= row.speed_mps[1] < 3
    grown = [row.pull_pa[0] for row in covers().values()]
    assert grown == sorted(grown)
