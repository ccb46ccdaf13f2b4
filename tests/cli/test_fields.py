from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cli.file_errors import LayerError
from cli.plan.field_guide import guide_columns, guide_markdown
from cli.plan.fields import FIELDS, LAYERS, convert_columns, fields_of, schema
from terrain.values.errors import ParameterError

REPOSITORY = Path(__file__).parents[2]

# The contract of the layers: names that other programs rely on.
CONTRACT = {
    "channels": "channel_id downstream_id stream_order length_m slope drainage_area_ha "
    "area_complete",
    "headcuts": "headcut_id channel_id station_m headcut_height_m face_slope drainage_area_ha "
    "confidence",
    "sites": "site_id rank structure control channel_id station_m elevation_m slope width_m "
    "depth_m width_source headcut_height_m drainage_area_ha area_complete q2_m3s q5_m3s q10_m3s "
    "q25_m3s q50_m3s q100_m3s flood_method score confidence reason caution lon lat bank_width_m "
    "bank_depth_m bankfull_width_m bankfull_depth_m pair_id build_order structure_height_m "
    "structure_length_m setting stage stage_confidence width_depth_ratio bank_height_ratio "
    "entrenchment_ratio valley_floor_width_m confinement bankfull_source bankfull_low_m "
    "bankfull_high_m stone_d50_m stone_d100_m stone_heaviest_kg design_return_period_yr "
    "design_flow_m3s design_depth_m design_velocity_mps design_shear_pa design_froude spacing_m "
    "spacing_rule toe_depth_m tailwater_toe_m pool_area_m2 pool_volume_m3 wedge_length_m "
    "wedge_volume_m3 retreat_m_per_yr swale_at_risk_m swale_at_risk_ha soil_at_risk_m3 "
    "rewetted_m2 cost_low cost_likely cost_high crew_days chosen chosen_why nearest_road_m",
    "gullies": "gully_id channel_id area_m2 length_m mean_depth_m greatest_depth_m void_m3 "
    "void_low_m3 void_high_m3 heads confidence",
    "drainage_areas": "site_id drainage_area_ha mean_slope flow_path_m curve_number",
    "structure_lines": "site_id crest_length_m",
    "cross_sections": "section_id channel_id station_m width_m depth_m",
    "run_info": "name value",
    "structures": "site_id structure control part is_body",
    "pools": "site_id kind area_m2 volume_m3 depth_m",
    "hydraulics": "site_id return_period_yr discharge_m3s depth_m top_width_m velocity_mps "
    "shear_pa froude overtops",
    "spacings": "site_id rule spacing_low_m spacing_high_m chosen source basis note",
    "sizes": "site_id name value unit note",
    "materials": "site_id item meaning amount unit amount_with_spare loads note",
    "costs": "site_id item quantity unit low likely high",
    "reasons": "site_id step part subject verdict text source basis",
    "instructions": "site_id step kind text",
    "before_you_build": "step subject text",
}


@pytest.mark.parametrize("layer", CONTRACT)
def test_every_field_of_the_contract_is_there(layer: str) -> None:
    assert set(CONTRACT[layer].split()) <= set(schema(layer))


@pytest.mark.parametrize(
    ("si", "us"),
    [
        ("width_m", "width_ft"),
        ("drainage_area_ha", "drainage_area_ac"),
        ("q10_m3s", "q10_cfs"),
        ("site_id", "site_id"),
        ("curve_number", "curve_number"),
        ("stone_heaviest_kg", "stone_heaviest_lb"),
        ("design_velocity_mps", "design_velocity_fps"),
        ("design_shear_pa", "design_shear_psf"),
        ("pool_volume_m3", "pool_volume_yd3"),
        ("soil_at_risk_m3", "soil_at_risk_yd3"),
        ("rewetted_m2", "rewetted_ft2"),
        ("retreat_m_per_yr", "retreat_ft_per_yr"),
        ("cost_likely", "cost_likely"),
        ("crew_days", "crew_days"),
    ],
)
def test_names_in_us_units(si: str, us: str) -> None:
    assert next(f for f in FIELDS if f.layer == "sites" and f.name == si).name_us == us


def test_conversion_is_exact() -> None:
    sites = {
        "width_m": np.array([0.3048, 30.48, np.nan]),
        "drainage_area_ha": np.array([0.40468564224, 1.0, 40.468564224]),
        "q10_m3s": np.array([0.028316846592, 1.0, 0.0]),
        "site_id": np.array([1, 2, 3]),
    }
    us = convert_columns("sites", sites, "us")
    np.testing.assert_array_equal(us["width_ft"], [1.0, 100.0, np.nan])
    # 1 ha is 2.471 acres and 1 m3/s is 35.31 cfs, to the decimals that are kept.
    np.testing.assert_array_equal(us["drainage_area_ac"], [1.0, 2.471, 100.0])
    np.testing.assert_array_equal(us["q10_cfs"], [1.0, 35.31, 0.0])
    assert us["site_id"] is sites["site_id"]


def test_masses_pressures_and_small_volumes() -> None:
    us = convert_columns(
        "sites",
        {
            "stone_heaviest_kg": np.array([0.45359237, 23.0]),
            "design_shear_pa": np.array([47.88025898, 147.0]),
            "design_velocity_mps": np.array([0.3048, 2.0]),
            "wedge_volume_m3": np.array([0.764554857984, 10.0]),
            "retreat_m_per_yr": np.array([0.3048, 1.0]),
        },
        "us",
    )
    # 23 kg is 50.71 lb, 147 Pa is 3.070 lb/sq ft, 10 m3 are 13.08 cubic yards.
    assert us["stone_heaviest_lb"].tolist() == [1.0, 50.71]
    assert us["design_shear_psf"].tolist() == pytest.approx([1.0, 3.0702], abs=6e-5)
    assert us["design_velocity_fps"].tolist() == [1.0, 6.562]
    assert us["wedge_volume_yd3"].tolist() == [1.0, 13.08]
    assert us["retreat_ft_per_yr"].tolist() == [1.0, 3.28]


def test_runoff_stays_acre_feet() -> None:
    field = next(f for f in FIELDS if f.name == "runoff10_m3")
    assert (field.name_us, field.unit_in("us")) == ("runoff10_acft", "acre-feet")
    pool = next(f for f in FIELDS if (f.layer, f.name) == ("pools", "volume_m3"))
    assert (pool.name_us, pool.unit_in("us")) == ("volume_yd3", "cu yd")


def test_rows_are_turned_by_the_unit_beside_them() -> None:
    rows = {
        "amount": np.array([1.0, 0.90718474, 4.0, 0.764554857984]),
        "unit": np.array(["m", "t", "pieces", "m3"], dtype=object),
    }
    us = convert_columns("materials", rows, "us")
    assert us["amount"].tolist() == [3.281, 1.0, 4.0, 1.0]
    assert us["unit"].tolist() == ["ft", "short tons", "pieces", "cu yd"]
    si = convert_columns("materials", rows, "si")
    assert si["amount"].tolist() == [1.0, 0.907, 4.0, 0.7646]
    assert si["unit"].tolist() == ["m", "t", "pieces", "m3"]


def test_every_number_names_its_unit_or_the_field_that_does() -> None:
    names = {(f.layer, f.name) for f in FIELDS}
    for field in FIELDS:
        if field.unit_from:
            assert field.kind == "float"
            assert (field.layer, field.unit_from) in names


def test_si_numbers_are_only_rounded() -> None:
    out = convert_columns("sites", {"width_m": np.array([1.23456, -0.001])}, "si")
    assert out["width_m"].tolist() == [1.23, 0.0]
    assert not np.signbit(out["width_m"][1])


def test_unknown_things_are_refused() -> None:
    with pytest.raises(LayerError, match="sites has no field witdh_m"):
        convert_columns("sites", {"witdh_m": np.array([1.0])}, "si")
    with pytest.raises(LayerError, match="a layer named 'site'"):
        fields_of("site")
    with pytest.raises(ParameterError, match="expected si or us"):
        schema("sites", "metric")  # type: ignore[arg-type]


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("layer", LAYERS)
def test_names_are_unique_whatever_the_case(layer: str, units: str) -> None:
    names = [name.casefold() for name in schema(layer, units)]  # type: ignore[arg-type]
    assert len(names) == len(set(names)) > 0
    # "fid" and "geom" belong to the file format.
    assert not {"fid", "geom"} & set(names)


def test_every_field_has_a_meaning_and_its_unit_in_its_name() -> None:
    for field in FIELDS:
        assert field.meaning, field.name
        assert "!" not in field.meaning
        assert not field.meaning.endswith(".")
        if field.suffix:
            assert field.unit_in("si")
            assert field.unit_in("us") != field.unit_in("si")


def test_guide_in_the_plan_has_a_row_a_field() -> None:
    guide = guide_columns("us")
    assert len(guide["field"]) == len(FIELDS)
    row = guide["field"].tolist().index("structure_height_ft")
    assert (guide["layer"][row], guide["unit"][row]) == ("sites", "ft")
    assert "vertical: Stops a drop" in guide["values"][guide["field"].tolist().index("control")]


def test_the_page_in_the_docs_is_up_to_date() -> None:
    page = (REPOSITORY / "cli" / "FIELDS.md").read_text(encoding="utf-8")
    assert page == guide_markdown(), "run: python -m cli.plan.field_guide > cli/FIELDS.md"
