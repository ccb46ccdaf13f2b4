from __future__ import annotations

import pytest

from cli.plan.unit_sentences import all_in_units, in_units


@pytest.mark.parametrize(
    ("si", "us"),
    [
        ("A drop of 0.90 m within 2.0 m.", "A drop of 3.0 ft within 6.6 ft."),
        ("17 ha drain over it.", "42 acres drain over it."),
        ("From 1 to 2 m wide.", "From 3.3 to 6.6 ft wide."),
        ("0.94 m3/s, 1,200 m away", "33 cfs, 3940 ft away"),
        ("Less than 13 mm (0.5 in) runs off.", "Less than 0.5 in runs off."),
        ("Deeper than 1.2 m (4 ft), over 3.0 m.", "Deeper than 4 ft, over 9.8 ft."),
        ("Cells of 10 m", "Cells of 33 ft"),
        ("27.4 km2 of land", "10.6 sq mi of land"),
        ("at (541012, 4138974) 1.6 m deep", "at (541012, 4138974) 5.2 ft deep"),
        ("A slope of 3.5 m/m and 2 men", "A slope of 3.5 m/m and 2 men"),
        ("H2 m is a name, 5 % no length", "H2 m is a name, 5 % no length"),
        ("0 m of channel", "0 ft of channel"),
        ("A stone of 23 kg (51 lb) at most.", "A stone of 51 lb at most."),
        ("A stone of 38 kg, 2.5 t in all", "A stone of 84 lb, 2.8 short tons in all"),
        ("Stone of 2650 kg/m3 in 2.0 m/s", "Stone of 165 lb/cu ft in 6.6 ft/s"),
        ("+0.08 m here, -0.02 m there", "+3 in here, -0.8 in there"),
        ("Stone D50 19 cm, D100 25 cm", "Stone D50 7.5 in, D100 10 in"),
        ("stone of 10 to 20 cm", "stone of 4 to 8 in"),
        ("a crest of 0.10 m, at most 0.30 m", "a crest of 4 in, at most 12 in"),
        ("0.10 to 0.25 m high, 0.25 to 0.40 m", "4 to 10 in high, 10 to 16 in"),
        ("rows 1-2 m and B-3 m", "rows 1-2 m and B-3 m"),
        ("pulls with 147 Pa, 0.20 m2/s", "pulls with 3.07 lb/sq ft, 2.2 sq ft/s"),
    ],
)
def test_figures_are_turned_and_keep_their_significance(si: str, us: str) -> None:
    assert in_units(si, "us") == us
    assert in_units(si, "si") == si


def test_many_sentences() -> None:
    assert all_in_units(["1.0 m", "none"], "us") == ("3.3 ft", "none")
