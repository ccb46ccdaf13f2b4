"""Default symbols as QML, the style format that a desktop GIS reads from a GeoPackage."""

from __future__ import annotations

import base64
from xml.etree import ElementTree as ET

from cli import palette
from cli.plan.symbols import Condition, Fill, Label, LayerSymbols, Line, Marker, Rule, marker_svg

_VERSION = "3.22.0"


def qml(symbols: LayerSymbols) -> str:
    """Write the rules and the label of a layer as QML."""
    categories = "Symbology|Labeling" if symbols.label else "Symbology"
    root = ET.Element("qgis", version=_VERSION, styleCategories=categories)
    renderer = ET.SubElement(
        root,
        "renderer-v2",
        type="RuleRenderer",
        symbollevels="0",
        forceraster="0",
        enableorderby="0",
    )
    rules = ET.SubElement(renderer, "rules", key="root")
    drawn = ET.SubElement(renderer, "symbols")
    for number, rule in enumerate(symbols.rules):
        element = ET.SubElement(
            rules, "rule", key=f"rule{number}", symbol=str(number), label=rule.label
        )
        if rule.conditions:
            element.set("filter", " AND ".join(_expression(c) for c in rule.conditions))
        drawn.append(_symbol(str(number), rule))
    if symbols.label:
        root.append(_labeling(symbols.label))
        ET.SubElement(root, "blendMode").text = "0"
    return ET.tostring(root, encoding="unicode")


def _expression(condition: Condition) -> str:
    """Write a condition as an expression; an empty field compares as the rule wants it."""
    value = condition.value
    literal = str(value).lower()
    if isinstance(value, str):
        literal = "'" + value.replace("'", "''") + "'"
    name = f'"{condition.field}"'
    test = f"{name} {condition.operator} {literal}"
    return f"({name} IS NULL OR {test})" if condition.empty_counts else test


def _rgba(colour: str, opacity: float = 1.0) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"{red},{green},{blue},{round(opacity * 255)}"


def _options(parent: ET.Element, options: dict[str, str]) -> None:
    holder = ET.SubElement(parent, "Option", type="Map")
    for name, value in options.items():
        ET.SubElement(holder, "Option", name=name, value=value, type="QString")


def _defined_by(parent: ET.Element, expressions: dict[str, str], tag: str) -> None:
    """Write the properties that come from an expression on the feature."""
    holder = ET.SubElement(ET.SubElement(parent, tag), "Option", type="Map")
    ET.SubElement(holder, "Option", name="name", value="", type="QString")
    properties = ET.SubElement(holder, "Option", name="properties", type="Map")
    for name, expression in expressions.items():
        one = ET.SubElement(properties, "Option", name=name, type="Map")
        ET.SubElement(one, "Option", name="active", value="true", type="bool")
        ET.SubElement(one, "Option", name="expression", value=expression, type="QString")
        ET.SubElement(one, "Option", name="type", value="3", type="int")
    ET.SubElement(holder, "Option", name="type", value="collection", type="QString")


def _symbol(name: str, rule: Rule) -> ET.Element:
    drawing = rule.symbol
    kind = {Marker: "marker", Line: "line", Fill: "fill"}[type(drawing)]
    symbol = ET.Element(
        "symbol", type=kind, name=name, alpha="1", clip_to_extent="1", force_rhr="0"
    )
    if isinstance(drawing, Marker):
        _marker_layer(symbol, drawing)
    elif isinstance(drawing, Line):
        _line_layer(symbol, drawing)
        if drawing.inside:
            _line_layer(symbol, Line(drawing.inside, drawing.inside_mm))
    else:
        _fill_layer(symbol, drawing)
    return symbol


def _layer(symbol: ET.Element, kind: str, options: dict[str, str]) -> ET.Element:
    layer = ET.SubElement(
        symbol, "layer", {"class": kind, "enabled": "1", "locked": "0", "pass": "0"}
    )
    _options(layer, options)
    return layer


def _marker_layer(symbol: ET.Element, marker: Marker) -> None:
    picture = base64.b64encode(marker_svg(marker).encode("utf-8")).decode("ascii")
    layer = _layer(
        symbol,
        "SvgMarker",
        {
            "name": f"base64:{picture}",
            "size": f"{marker.size_mm:g}",
            "size_unit": "MM",
            "angle": "0",
            "color": _rgba(marker.fill),
            "outline_color": _rgba(marker.outline),
            "outline_width": "0",
            "fixedAspectRatio": "0",
            "scale_method": "diameter",
        },
    )
    if marker.rotation_field:
        turn = f'coalesce("{marker.rotation_field}" - {marker.drawn_azimuth_deg:g}, 0)'
        _defined_by(layer, {"angle": turn}, "data_defined_properties")


def _line_layer(symbol: ET.Element, line: Line) -> None:
    layer = _layer(
        symbol,
        "SimpleLine",
        {
            "line_color": _rgba(line.colour),
            "line_width": f"{line.width_mm:g}",
            "line_width_unit": "MM",
            "line_style": "solid",
            "capstyle": "flat" if line.dashed else "round",
            "joinstyle": "round",
            "use_custom_dash": "1" if line.dashed else "0",
            "customdash": "2.4;1.4",
            "customdash_unit": "MM",
        },
    )
    if line.area_field:
        area = f'coalesce("{line.area_field}", 1) * {line.area_ha:.9g}'
        base, step = palette.CHANNEL_WIDTH_MM, palette.CHANNEL_WIDTH_STEP_MM
        width = f"{base} + {step} * log10(max({area}, 1))"
        _defined_by(layer, {"outlineWidth": width}, "data_defined_properties")


def _fill_layer(symbol: ET.Element, fill: Fill) -> None:
    _layer(
        symbol,
        "SimpleFill",
        {
            "color": _rgba(fill.colour, fill.opacity),
            "style": "solid" if fill.opacity else "no",
            "outline_color": _rgba(fill.outline),
            "outline_style": "solid" if fill.outline_mm else "no",
            "outline_width": f"{fill.outline_mm:g}",
            "outline_width_unit": "MM",
            "joinstyle": "round",
        },
    )


def _labeling(label: Label) -> ET.Element:
    """Write a number beside each feature; the better rank keeps its label."""
    labeling = ET.Element("labeling", type="simple")
    settings = ET.SubElement(labeling, "settings", calloutType="simple")
    style = ET.SubElement(
        settings,
        "text-style",
        fieldName=label.field,
        isExpression="0",
        fontSize=f"{label.size_pt:g}",
        fontSizeUnit="Point",
        fontWeight="75",
        textColor=_rgba(palette.INK),
        textOpacity="1",
    )
    ET.SubElement(
        style,
        "text-buffer",
        bufferDraw="1",
        bufferSize="0.8",
        bufferSizeUnits="MM",
        bufferColor=_rgba(palette.WHITE),
        bufferOpacity="1",
    )
    ET.SubElement(settings, "text-format")
    # 6: beside a point, at the first free of the places listed; offset from the drawn shape.
    ET.SubElement(
        settings,
        "placement",
        placement="6",
        predefinedPositionOrder="TR,R,BR,TL,L,BL,T,B",
        offsetType="1",
        dist="0.6",
        distUnits="MM",
        priority="5",
    )
    ET.SubElement(
        settings, "rendering", drawLabels="1", displayAll="0", obstacle="1", obstacleFactor="1"
    )
    _defined_by(
        settings, {"Priority": f'max(0, 10 - "{label.rank_field}" / 10.0)'}, "dd_properties"
    )
    return labeling
