"""The file of limits: complete, sourced, all of it used; and what a wrong one says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from siting.values.input_errors import RulesError
from siting.values.rules import BASES, load_rules

SITING = Path(__file__).resolve().parents[2] / "siting"
WHOLE = 'unit = "m"\nsource = "own ground"\nbasis = "common practice"\nmeaning = "Highest drop"\n'


def test_every_limit_has_a_source_and_says_what_kind() -> None:
    rules = load_rules()
    for name, limit in rules.limits.items():
        assert limit.source, name
        assert limit.basis in BASES
        assert limit.low <= limit.high
        assert limit.meaning[0].isupper()


def test_limits_of_the_trade() -> None:
    """Stated limits: NRCS Colorado Range Technical Note 40 (4 ft and 3 %); a third of bankfull."""
    rules = load_rules()
    assert rules.high("hand_work.drop") == pytest.approx(4 * 0.3048, abs=0.02)
    assert rules.low("hand_work.gradient") == 0.03
    assert rules.low("one_rock_dam.channel_depth") == pytest.approx(4 * 0.3048, abs=0.02)
    assert rules.value("grade_control.bankfull_share") == pytest.approx(1 / 3, abs=1e-4)
    assert (rules.low("grade_control.height"), rules.high("grade_control.height")) == (0.10, 0.30)
    assert (rules.low("pair.distance"), rules.high("pair.distance")) == (4.0, 6.0)
    assert (rules.low("hand_work.drainage_area"), rules.high("hand_work.drainage_area")) == (4, 40)


def test_no_limit_is_there_for_nothing_and_none_is_missing() -> None:
    code = "\n".join(p.read_text("utf-8") for p in SITING.rglob("*.py"))
    asked = set(re.findall(r'"([a-z_]+\.[a-z_0-9]+)"', code))
    named = set(load_rules().limits)
    # a curve is read with its factors: see `siting.works.curves`
    assert named <= asked | {f"{name}_factor" for name in asked}
    groups = {name.split(".")[0] for name in named}
    assert {a for a in asked if a.split(".")[0] in groups} <= named


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "my_rules.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_that_holds_one_limit_changes_only_that(tmp_path: Path) -> None:
    path = write(tmp_path, "version = 1\n[hand_work.drop]\nmin = 0.5\nmax = 0.8\n" + WHOLE)
    rules, usual = load_rules(path), load_rules()
    assert rules.high("hand_work.drop") == 0.8
    assert rules.changed == ("hand_work.drop",)
    assert rules.origin == "my_rules.toml"
    others = [n for n in usual.limits if n != "hand_work.drop"]
    assert all(rules[n] == usual[n] for n in others)


def test_a_copy_of_the_own_file_changes_nothing(tmp_path: Path) -> None:
    path = write(tmp_path, (SITING / "rules.toml").read_text("utf-8"))
    assert load_rules(path).changed == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("version = 1\n[hand_work.drop]\nmin = 1.5\nmax = 1.2\n" + WHOLE, "min 1.5 is above max"),
        ("version = 1\n[hand_work.dropp]\nmax = 1.2\n" + WHOLE, "hand_work.dropp, which is not"),
        ("version = 1\n[handwork.drop]\nmax = 1.2\n" + WHOLE, r"\[handwork\], which is not known"),
        ("version = 1\n[hand_work.drop]\nmax = 1.2\n" + WHOLE, "has no min"),
        ("version = 1\n[hand_work.drop]\nvalue = 1\nmax = 1.2\n" + WHOLE, "no clear number"),
        ("version = 1\n[hand_work.drop]\n" + WHOLE, "no clear number"),
        ('version = 1\n[hand_work.drop]\nvalue = "high"\n' + WHOLE, "value is 'high'"),
        ("version = 1\n[hand_work.drop]\nvalue = nan\n" + WHOLE, "value is nan"),
        ("version = 1\n[hand_work.drop]\nvalue = true\n" + WHOLE, "value is True"),
        ("version = 1\n[hand_work.drop]\nvalue = -1\n" + WHOLE, "is -1"),
        (
            "version = 1\n[hand_work.drop]\nvalue = 1\n" + WHOLE.replace('unit = "m"\n', ""),
            "has no unit",
        ),
        (
            "version = 1\n[hand_work.drop]\nvalue = 1\n" + WHOLE.replace('"own ground"', '" "'),
            "has no source",
        ),
        (
            "version = 1\n[hand_work.drop]\nvalue = 4\n" + WHOLE.replace('"m"', '"ft"'),
            "is in ft; expected m",
        ),
        (
            "version = 1\n[hand_work.drop]\nvalue = 1\n"
            + WHOLE.replace("common practice", "hearsay"),
            "basis is 'hearsay'",
        ),
        ("version = 1\n[hand_work.drop]\nvalue = 1\ncolour = 3\n" + WHOLE, "holds colour"),
        ("version = 0\n", "of version 0, an older one"),
        ("version = 9\n", "of version 9; expected version = 1"),
        ("[hand_work.drop]\nvalue = 1\n" + WHOLE, "states no version"),
        ("version = 1\nhand_work = 3\n", r"\[hand_work\], which is not known"),
        ("version 1", "not valid TOML"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(RulesError, match=says) as caught:
        load_rules(write(tmp_path, text))
    assert "\n" not in str(caught.value)
    assert "my_rules.toml" in str(caught.value)


def test_a_missing_file_and_a_binary_one(tmp_path: Path) -> None:
    with pytest.raises(RulesError, match="cannot be read"):
        load_rules(tmp_path / "none.toml")
    (tmp_path / "bin.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RulesError, match="cannot be read"):
        load_rules(tmp_path / "bin.toml")


def test_two_numbers_are_no_single_value() -> None:
    with pytest.raises(RulesError, match="has a min and a max"):
        load_rules().value("hand_work.drop")
