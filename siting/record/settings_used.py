"""The settings of a run as texts, from which exactly the same settings are read again.

A plan keeps them, so that decisions can be made again later with what was measured on site.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely.geometry import mapping, shape

from siting.layout.keep_clear import KeepClear
from siting.layout.measuring import BuildSettings
from siting.places.spot import Earth, Stock
from siting.values.columns import Columns, texts_of
from siting.values.input_errors import RulesError
from siting.values.rules import Rules, load_rules
from siting.values.settings_file import SettingsText, own_file
from siting.works.costs import Costs, load_costs
from siting.works.takes import Means
from siting.works.work import Judging
from terrain.values.errors import GullywalkError

_AS_WRITTEN = "settings as gullywalk screen writes them"


@dataclass(frozen=True, slots=True, eq=False)
class SettingsUsed:
    """What a plan was made with.

    Parameters
    ----------
    rules, means
        Limits, prices and what there is to spend.
    build
        Stock, design flood, and what is kept clear of.
    judging
        How works are judged.
    division
        Physiographic division of the regional bankfull curve.
    floods
        What the floods were made with beside rain and maps: names to plain values.
    """

    rules: Rules
    means: Means
    build: BuildSettings
    judging: Judging = field(default_factory=Judging)
    division: str = "usa"
    floods: Mapping[str, Any] | None = None

    def texts(self) -> dict[str, str]:
        """Settings by name, each as a text."""
        stock, means, keep = self.build.stock, self.means, self.build.keep
        earth = self.build.earth
        out = {
            "rules": rules_text(self.rules),
            "costs": costs_text(means.costs),
            "stock": _json(
                {
                    "have": sorted(stock.have),
                    "wood": stock.wood,
                    "stone_density_kg_m3": stock.stone_density_kg_m3,
                    "anchor_n_per_post": stock.anchor_n_per_post,
                }
            ),
            "earth": _json({"soil": earth.soil, "cover": earth.cover}),
            "means": _json(
                {
                    "spare": means.spare,
                    "crew_size": means.crew_size,
                    "budget": means.budget,
                    "crew_days": means.crew_days,
                }
            ),
            "works": _json(
                {"horizon_yr": self.judging.horizon_yr, "rank_by": self.judging.rank_by}
            ),
            "design": _json(
                {
                    "return_period_yr": self.build.design_period_yr,
                    "bankfull_division": self.division,
                    "rules_file": self.rules.origin,
                    "costs_file": means.costs.origin,
                }
            ),
            "floods": _json(dict(self.floods or {})),
        }
        if keep is not None:
            out["keep"] = keep_text(keep)
        return out

    def columns(self) -> Columns:
        """Rows of the table ``settings_used``."""
        texts = self.texts()
        return {"name": texts_of(list(texts)), "text": texts_of(list(texts.values()))}


def settings_of(texts: Mapping[str, str]) -> SettingsUsed:
    """Read settings again from their texts.

    Parameters
    ----------
    texts
        What `SettingsUsed.texts` gave: name to text.

    Raises
    ------
    RulesError, CostError
        A text is missing or cannot be read, or it is of another version.
    """
    design, stock, means, works = (
        _read_json(texts, name) for name in ("design", "stock", "means", "works")
    )
    # plans of before bed and banks were looked at have no such row
    earth = _read_json(texts, "earth") if "earth" in texts else {"soil": "", "cover": ""}
    try:
        return SettingsUsed(
            rules=load_rules(_text(texts, "rules", design["rules_file"])),
            means=Means(
                costs=load_costs(_text(texts, "costs", design["costs_file"])),
                spare=float(means["spare"]),
                crew_size=int(means["crew_size"]),
                budget=_number_or_none(means["budget"]),
                crew_days=_number_or_none(means["crew_days"]),
            ),
            build=BuildSettings(
                stock=Stock(
                    have=frozenset(stock["have"]),
                    wood=str(stock["wood"]),
                    stone_density_kg_m3=float(stock["stone_density_kg_m3"]),
                    anchor_n_per_post=float(stock["anchor_n_per_post"]),
                ),
                design_period_yr=float(design["return_period_yr"]),
                keep=keep_of(texts["keep"]) if "keep" in texts else None,
                earth=Earth(soil=str(earth["soil"]), cover=str(earth["cover"])),
            ),
            judging=Judging(_number_or_none(works["horizon_yr"]), str(works["rank_by"])),
            division=str(design["bankfull_division"]),
            floods=_read_json(texts, "floods"),
        )
    except GullywalkError:
        raise
    except (KeyError, TypeError, ValueError) as error:
        raise RulesError(
            f"the settings kept in the plan cannot be used: {error} is missing or of a wrong kind",
            expected=_AS_WRITTEN,
        ) from error


def rules_text(rules: Rules) -> str:
    """All limits as a TOML file that `siting.values.rules.load_rules` reads."""
    tables = {}
    for name, limit in rules.limits.items():
        ends = {"value": limit.low} if limit.low == limit.high else {
            "min": limit.low, "max": limit.high}  # fmt: skip
        tables[name] = {
            **ends,
            "unit": limit.unit,
            "source": limit.source,
            "basis": limit.basis,
            "meaning": limit.meaning,
        }
    return _toml({"version": own_file("rules.toml")["version"]}, tables)


def costs_text(costs: Costs) -> str:
    """All prices and productivity as a TOML file that `siting.works.costs.load_costs` reads."""
    tables = {
        name: {
            "low": f.low,
            "likely": f.likely,
            "high": f.high,
            **({"year": f.year} if f.year else {}),
            "unit": f.unit,
            "source": f.source,
            "basis": f.basis,
            "meaning": f.meaning,
        }
        for name, f in costs.figures.items()
    }
    head = {"version": own_file("costs.toml")["version"], "currency": costs.currency}
    return _toml(head, tables)


def keep_text(keep: KeepClear) -> str:
    """What is kept clear of as GeoJSON, in the coordinates of the raster."""
    not_ours = np.zeros(keep.size, dtype=np.bool_) if keep.not_ours is None else keep.not_ours
    rows = zip(keep.shapes, keep.kind, keep.name, keep.from_roads, not_ours, strict=True)
    return _json(
        {
            "type": "FeatureCollection",
            "notes": list(keep.notes),
            "features": [
                {
                    "type": "Feature",
                    "properties": {
                        "kind": kind,
                        "name": name,
                        "from_roads": bool(from_roads),
                        "not_ours": bool(others),
                    },
                    "geometry": mapping(geometry),
                }
                for geometry, kind, name, from_roads, others in rows
            ],
        }
    )


def keep_of(text: str) -> KeepClear:
    """Read again what `keep_text` wrote.

    Raises
    ------
    RulesError
        It is not that.
    """
    try:
        found = json.loads(text)
        features = found["features"]
        shapes = np.empty(len(features), dtype=object)
        shapes[:] = [shape(feature["geometry"]) for feature in features]
        told = [feature["properties"] for feature in features]
        return KeepClear(
            shapes=shapes,
            kind=texts_of([str(row["kind"]) for row in told]),
            name=texts_of([str(row["name"]) for row in told]),
            from_roads=np.array([bool(row["from_roads"]) for row in told], dtype=np.bool_),
            notes=tuple(str(note) for note in found["notes"]),
            # plans of older versions do not say
            not_ours=np.array([bool(row.get("not_ours")) for row in told], dtype=np.bool_),
        )
    except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError) as error:
        raise RulesError(
            "what is kept clear of cannot be read from the plan",
            expected=_AS_WRITTEN,
        ) from error


def _number_or_none(value: object) -> float | None:
    return None if value is None else float(value)  # type: ignore[arg-type]


def _text(texts: Mapping[str, str], name: str, file: object) -> SettingsText:
    return SettingsText(str(file), texts[name])


def _read_json(texts: Mapping[str, str], name: str) -> dict[str, Any]:
    text = texts.get(name)
    try:
        found = json.loads(text or "")
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise RulesError(
            f"the settings kept in the plan hold no readable '{name}'",
            expected=_AS_WRITTEN,
        )
    return found


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _toml(head: Mapping[str, Any], tables: Mapping[str, Mapping[str, Any]]) -> str:
    """Write a settings file: a head, and tables of numbers and texts."""
    lines = [f"{key} = {_value(value)}" for key, value in head.items()]
    for name, table in tables.items():
        lines += ["", f"[{name}]", *(f"{key} = {_value(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _value(value: object) -> str:
    if isinstance(value, str):
        # JSON escapes what TOML asks for, but for one sign.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
