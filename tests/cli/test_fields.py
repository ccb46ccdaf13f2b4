from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cli.errors import LayerError
from cli.field_guide import guide_columns, guide_markdown
from cli.fields import FIELDS, LAYERS, convert_columns, fields_of, schema
from terrain.errors import ParameterError

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
    "structure_length_m",
    "drainage_areas": "site_id drainage_area_ha mean_slope flow_path_m curve_number",
    "structure_lines": "site_id crest_length_m",
    "cross_sections": "section_id channel_id station_m width_m depth_m",
    "run_info": "name value",
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
    assert page == guide_markdown(), "run: python -m cli.field_guide > cli/FIELDS.md"
