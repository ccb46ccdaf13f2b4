from __future__ import annotations

import base64
import os
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from cli import palette
from cli.plan.fields import LAYERS, schema
from cli.plan.fields_ground import DECISIONS, SOILS
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer
from cli.plan.relief_layer import relief_picture
from cli.plan.structure_looks import looks_of
from cli.plan.symbols import Marker, layer_symbols
from cli.plan.symbols_qml import qml
from cli.plan.symbols_sld import sld
from siting.record.drawn_rows import columns_of_types
from siting.structures.rolling_dip import RollingDip
from tests.example_plan import example_layers, example_raster, example_tables

LOOKS = looks_of(
    {"structure_types": Layer("structure_types", None, columns_of_types([RollingDip()]))}
)
DRAWN = [name for name, spec in LAYERS.items() if spec.geometry]
SE = "{http://www.opengis.net/se}"
OGC = "{http://www.opengis.net/ogc}"


def rules_of(name: str, units: str = "si") -> list[tuple[str, ET.Element]]:
    """Filter and symbol of each rule in the QML of a layer."""
    root = ET.fromstring(qml(layer_symbols(name, units, LOOKS)))  # type: ignore[arg-type]
    symbols = {s.get("name"): s for s in root.iterfind("renderer-v2/symbols/symbol")}
    rules = root.findall("renderer-v2/rules/rule")
    assert len(symbols) == len(rules) > 0
    return [(r.get("filter", ""), symbols[r.get("symbol")]) for r in rules]


def option(symbol: ET.Element, name: str) -> str:
    found = symbol.find(f"layer/Option/Option[@name='{name}']")
    assert found is not None, name
    return str(found.get("value"))


def rgb(colour: str) -> str:
    return ",".join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5))


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("name", DRAWN)
def test_both_formats_are_well_formed_and_name_only_real_fields(name: str, units: str) -> None:
    fields = set(schema(name, units))  # type: ignore[arg-type]
    symbols = layer_symbols(name, units, LOOKS)  # type: ignore[arg-type]
    described = ET.fromstring(sld(name, symbols))
    used = {e.text for e in described.iter(f"{OGC}PropertyName")}
    used |= {c.field for rule in symbols.rules for c in rule.conditions}
    styled = ET.fromstring(qml(symbols))
    for expression in styled.iter("Option"):
        if expression.get("name") == "expression":
            used.add(str(expression.get("value")).split('"')[1])
    assert used <= fields
    assert described.find(f".//{SE}FeatureTypeStyle/{SE}Rule") is not None


def test_each_control_has_a_filled_and_an_outlined_rule_in_its_colour() -> None:
    # Those of a type's own shape are looked at below.
    rules = [(f, s) for f, s in rules_of("sites") if '"structure" = ' not in f]
    for control in palette.SITE_SYMBOLS:
        mine = [(f, s) for f, s in rules if f"\"control\" = '{control.control}'" in f]
        assert len(mine) == 2
        (sure, filled), (unsure, hollow) = mine
        assert '"confidence" >= 0.5' in sure
        assert '"confidence" IS NULL' in sure
        assert unsure.endswith('"confidence" < 0.5')
        for symbol, fill in ((filled, control.colour), (hollow, palette.WHITE)):
            name = option(symbol, "name")
            picture = base64.b64decode(name.removeprefix("base64:")).decode()
            path = ET.fromstring(picture).findall("{http://www.w3.org/2000/svg}path")[-1]
            assert (path.get("fill"), path.get("stroke")) == (fill, control.colour)


def test_shapes_differ_as_much_as_colours() -> None:
    shapes = {
        rule.symbol.rings
        for layer in ("sites", "headcuts")
        for rule in layer_symbols(layer, "si", LOOKS).rules
        if isinstance(rule.symbol, Marker)
    }
    # Five controls, the rolling dip and the headcut.
    assert len(shapes) == 7


def test_a_rolling_dip_has_its_own_shape_in_the_colour_of_spreading() -> None:
    rules = rules_of("sites")
    (sure, filled), (unsure, hollow) = [(f, s) for f, s in rules if '"structure" = ' in f]
    assert "\"control\" = 'spread' AND \"structure\" = 'rolling dip' AND" in sure
    assert unsure.endswith('"confidence" < 0.5')
    for symbol in (filled, hollow):
        picture = base64.b64decode(option(symbol, "name").removeprefix("base64:")).decode()
        path = ET.fromstring(picture).findall("{http://www.w3.org/2000/svg}path")[-1]
        assert path.get("stroke") == palette.GREEN
    # A crescent is drawn for every other spreader, one without a name included.
    spreading = [f for f, _ in rules if "\"control\" = 'spread'" in f]
    crescents = [f for f in spreading if f not in (sure, unsure)]
    assert len(crescents) == 2
    assert all('("structure" IS NULL OR "structure" <> \'rolling dip\')' in f for f in crescents)


def test_footprints_take_the_colour_of_their_control_and_the_body_is_darker() -> None:
    rules = rules_of("structures")
    for control in palette.SITE_SYMBOLS:
        (body, dark), (other, light) = [
            (f, s) for f, s in rules if f"\"control\" = '{control.control}'" in f
        ]
        assert body.endswith('"is_body" = true')
        assert other.endswith('"is_body" = false')
        assert option(dark, "color") == f"{rgb(control.colour)},204"  # 80 % of 255
        assert option(light, "color") == f"{rgb(control.colour)},102"
        assert option(dark, "outline_color") == f"{rgb(control.colour)},255"


def test_pools_and_wedges_have_no_outline() -> None:
    drawn = dict(rules_of("pools"))
    for kind, colour in (("pool", palette.CHANNEL), ("wedge", palette.OCHRE)):
        symbol = drawn[f"\"kind\" = '{kind}'"]
        assert option(symbol, "color") == f"{rgb(colour)},89"  # 35 % of 255
        assert option(symbol, "outline_style") == "no"
    described = ET.fromstring(sld("pools", layer_symbols("pools", "si")))
    opacities = [
        e.text for e in described.iter(f"{SE}SvgParameter") if e.get("name") == "fill-opacity"
    ]
    assert opacities == ["0.35", "0.35"]
    assert described.find(f".//{SE}Stroke") is None


def test_the_rank_stands_beside_the_shape() -> None:
    root = ET.fromstring(qml(layer_symbols("works", "si", LOOKS)))
    style = root.find("labeling/settings/text-style")
    place = root.find("labeling/settings/placement")
    assert style is not None
    assert place is not None
    assert style.get("fieldName") == "rank"
    assert place.get("placement") == "6"
    assert "O" not in str(place.get("predefinedPositionOrder")).split(",")


def test_channels_are_dashed_where_the_area_is_cut() -> None:
    (whole, solid), (cut, dashed) = rules_of("channels")
    assert '"area_complete" = true' in whole
    assert cut == '"area_complete" = false'
    assert option(solid, "use_custom_dash") == "0"
    assert option(dashed, "use_custom_dash") == "1"
    assert option(solid, "line_color") == f"{rgb(palette.CHANNEL)},255"


@pytest.mark.parametrize(("units", "field"), [("si", "_ha"), ("us", "_ac")])
def test_width_follows_the_area_in_either_system(units: str, field: str) -> None:
    _, symbol = rules_of("channels", units)[0]
    widths = [o.get("value") for o in symbol.iter("Option") if o.get("name") == "expression"]
    assert len(widths) == 1
    assert f'"drainage_area{field}"' in str(widths[0])
    factor = "* 1)" if units == "si" else "* 0.404685642,"
    assert factor in str(widths[0]).replace("* 1,", "* 1)")


def test_areas_and_ranch() -> None:
    ((_, area),) = rules_of("drainage_areas")
    assert option(area, "color") == f"{rgb(palette.CHANNEL)},26"  # 10 % of 255
    ((_, ranch),) = rules_of("ranch")
    assert option(ranch, "style") == "no"
    assert option(ranch, "outline_color") == f"{rgb(palette.RANCH)},255"
    assert option(ranch, "outline_width") == "1.2"


def test_a_road_is_two_thin_lines() -> None:
    ((_, symbol),) = rules_of("roads")
    outer, inner = symbol.findall("layer")
    drawn = [
        {o.get("name"): o.get("value") for o in layer.iter("Option")} for layer in (outer, inner)
    ]
    colours = [f"{rgb(c)},255" for c in (palette.ROAD, palette.WHITE)]
    assert [d["line_color"] for d in drawn] == colours
    assert float(str(drawn[0]["line_width"])) > float(str(drawn[1]["line_width"])) > 0
    described = ET.fromstring(sld("roads", layer_symbols("roads", "si")))
    strokes = [e.text for e in described.iter(f"{SE}SvgParameter") if e.get("name") == "stroke"]
    assert strokes == [palette.ROAD, palette.WHITE]


def test_a_field_note_shows_whether_something_was_decided() -> None:
    (open_, white), (decided, dark) = rules_of("field_notes")
    assert open_ == '("decision" IS NULL OR "decision" = \'\')'
    assert decided == "\"decision\" <> ''"
    assert option(white, "color") == f"{rgb(palette.WHITE)},255"
    assert option(dark, "color") == f"{rgb(palette.INK)},255"


def test_sld_draws_every_channel_once() -> None:
    """Each area falls into exactly one class, in either state."""
    described = ET.fromstring(sld("channels", layer_symbols("channels", "si")))
    classes = []
    for rule in described.iter(f"{SE}Rule"):
        limits = {}
        for tag in ("PropertyIsGreaterThanOrEqualTo", "PropertyIsLessThan"):
            for test in rule.iter(f"{OGC}{tag}"):
                limits[tag] = float(str(test.findtext(f"{OGC}Literal")))
        state = rule.find(f".//{OGC}PropertyIsEqualTo/{OGC}Literal")
        assert state is not None
        classes.append((state.text, limits))
    for state in ("true", "false"):  # type: ignore[assignment]
        for area in (0.0, 4.99, 5.0, 300.0, 1e6):
            hits = [
                limits
                for s, limits in classes
                if s == state
                and limits["PropertyIsGreaterThanOrEqualTo"] <= area
                and area < limits.get("PropertyIsLessThan", float("inf"))
            ]
            assert len(hits) == 1


# Opens each layer in a desktop GIS, asks for its default style, and draws it; then the ground and
# the choices offered for a field of the field notes.
_IN_GIS = """
import sys
from qgis.core import (QgsApplication, QgsMapRendererSequentialJob, QgsMapSettings,
                       QgsRasterLayer, QgsVectorLayer)
from qgis.PyQt.QtCore import QSize
app = QgsApplication([], False)
app.initQgis()
for name in sys.argv[2:]:
    layer = QgsVectorLayer(f"{sys.argv[1]}|layername={name}", name, "ogr")
    assert layer.isValid(), name
    assert layer.loadDefaultStyle()[1], name
    assert layer.renderer().type() == "RuleRenderer", name
    settings = QgsMapSettings()
    settings.setLayers([layer])
    settings.setOutputSize(QSize(600, 500))
    extent = layer.extent()
    extent.grow(30.0)
    settings.setExtent(extent)
    settings.setDestinationCrs(layer.crs())
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    assert not job.errors(), name
    image = job.renderedImage()
    colours = {image.pixelColor(x, y).name().upper() for x in range(600) for y in range(500)}
    print(name, layer.labelsEnabled(), *sorted(colours))
    del job, settings, layer
ground = QgsRasterLayer(f"GPKG:{sys.argv[1]}:relief", "relief", "gdal")
assert ground.isValid()
print("relief", ground.crs().authid(), ground.width(), ground.height())
notes = QgsVectorLayer(f"{sys.argv[1]}|layername=field_notes", "field_notes", "ogr")
for name in ("decision", "soil"):
    setup = notes.editorWidgetSetup(notes.fields().indexFromName(name))
    offered = [value for entry in setup.config().get("map", []) for value in entry.values()]
    print("offered_" + name, setup.type(), *sorted(offered))
del ground, notes
app.exitQgis()
"""


@pytest.mark.slow
def test_a_desktop_gis_draws_the_plan_in_our_colours(tmp_path: Path) -> None:
    python = os.environ.get("GULLYWALK_GIS_PYTHON") or shutil.which("python3", path=os.defpath)
    env = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    env |= {"QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": str(tmp_path)}
    has = python and subprocess.run(
        [python, "-c", "import qgis.core"], env=env, capture_output=True, check=False
    )
    if not has or has.returncode != 0:
        pytest.skip("no desktop GIS with Python bindings is installed here")
    raster = example_raster()
    layers = example_layers(raster)
    relief = relief_picture(raster, layers)
    assert relief is not None
    plan = write_geopackage(
        tmp_path / "plan.gpkg", list(layers.values()), tables=example_tables(), relief=relief
    )
    done = subprocess.run(
        [str(python), "-c", _IN_GIS, str(plan), *DRAWN],
        env=env,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    drawn = {line.split()[0]: line.split()[1:] for line in done.stdout.splitlines() if line}
    assert set(COLOURS_SEEN) <= set(drawn)
    for name, colours in COLOURS_SEEN.items():
        assert set(colours) <= set(drawn[name]), name
    assert drawn["works"][0] == drawn["referred"][0] == "True"
    assert drawn["sites"][0] == "False"
    # 10 % of the channel blue over white, and two such areas over each other.
    assert "#E8EFF5" in drawn["drainage_areas"]
    # 35 % of the channel blue and of ochre over white.
    assert {"#B1C7DB", "#E4CCA6"} <= set(drawn["pools"])
    # A road's lines are thinner than a pixel: grey between white.
    assert "#707070" <= min(drawn["roads"]) <= "#909090"
    rows, cols = relief.grid.shape
    assert drawn["relief"] == ["EPSG:32612", str(cols), str(rows)]
    for name, codes in (("decision", DECISIONS), ("soil", SOILS)):
        kind, *offered = drawn[f"offered_{name}"]
        assert kind == "ValueMap"
        assert set(offered) >= {code for code, _ in codes}


COLOURS_SEEN = {
    "sites": [s.colour for s in palette.SITE_SYMBOLS],
    "headcuts": [palette.HEADCUT],
    "channels": [palette.CHANNEL],
    "ranch": [palette.RANCH],
    "field_notes": [palette.INK],
    "structures": ["#B86155"],  # brick at 80 % over white
}
