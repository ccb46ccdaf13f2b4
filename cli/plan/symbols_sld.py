"""Default symbols as SLD 1.1 (OGC Symbology Encoding), for programs that do not read QML."""

from __future__ import annotations

import base64
from dataclasses import replace
from xml.etree import ElementTree as ET

from cli import palette
from cli.plan.symbols import Condition, Fill, Label, LayerSymbols, Line, Marker, Rule, marker_svg

_SLD = "http://www.opengis.net/sld"
_SE = "http://www.opengis.net/se"
_OGC = "http://www.opengis.net/ogc"
#: The standard's rendering pixel is 0.28 mm.
_PIXELS_PER_MM = 1.0 / 0.28
#: Classes of drainage area that stand for the growing line width, ha.
_AREA_CLASSES_HA = (0.0, 5.0, 25.0, 100.0, 500.0, 2500.0)
_OPERATORS = {
    "=": "PropertyIsEqualTo",
    "<>": "PropertyIsNotEqualTo",
    "<": "PropertyIsLessThan",
    ">=": "PropertyIsGreaterThanOrEqualTo",
}

for _prefix, _uri in (("sld", _SLD), ("se", _SE), ("ogc", _OGC)):
    ET.register_namespace(_prefix, _uri)


def sld(layer: str, symbols: LayerSymbols) -> str:
    """Write the rules and the label of a layer as SLD."""
    root = ET.Element(f"{{{_SLD}}}StyledLayerDescriptor", version="1.1.0")
    named = ET.SubElement(root, f"{{{_SLD}}}NamedLayer")
    _se(named, "Name", layer)
    style = ET.SubElement(named, f"{{{_SLD}}}UserStyle")
    _se(style, "Name", layer)
    features = _se(style, "FeatureTypeStyle")
    for rule in symbols.rules:
        for part in _by_area(rule):
            features.append(_rule(part, symbols.label))
    return ET.tostring(root, encoding="unicode")


def _se(parent: ET.Element, tag: str, text: str | None = None, **attributes: str) -> ET.Element:
    element = ET.SubElement(parent, f"{{{_SE}}}{tag}", attributes)
    element.text = text
    return element


def _by_area(rule: Rule) -> list[Rule]:
    """Split a rule whose line width grows with the area into classes of one width each."""
    line = rule.symbol
    if not isinstance(line, Line) or line.area_field is None:
        return [rule]
    parts = []
    uppers = (*_AREA_CLASSES_HA[1:], None)
    for low, high in zip(_AREA_CLASSES_HA, uppers, strict=True):
        middle = low * 2.0 if high is None else (max(low, 1.0) * high) ** 0.5
        limits = [Condition(line.area_field, ">=", round(low / line.area_ha, 3))]
        if high is not None:
            limits.append(Condition(line.area_field, "<", round(high / line.area_ha, 3)))
        part = replace(line, width_mm=palette.channel_width_mm(middle))
        parts.append(Rule(rule.label, part, (*rule.conditions, *limits)))
    return parts


def _rule(rule: Rule, label: Label | None) -> ET.Element:
    element = ET.Element(f"{{{_SE}}}Rule")
    _se(element, "Name", rule.label)
    if rule.conditions:
        holder = ET.SubElement(element, f"{{{_OGC}}}Filter")
        if len(rule.conditions) > 1:
            holder = ET.SubElement(holder, f"{{{_OGC}}}And")
        for condition in rule.conditions:
            _condition(holder, condition)
    drawing = rule.symbol
    if isinstance(drawing, Marker):
        _point(element, drawing)
    elif isinstance(drawing, Line):
        _line(element, drawing)
    else:
        _polygon(element, drawing)
    if label is not None:
        _text(element, label)
    return element


def _condition(parent: ET.Element, condition: Condition) -> None:
    if condition.empty_counts:
        parent = ET.SubElement(parent, f"{{{_OGC}}}Or")
        null = ET.SubElement(parent, f"{{{_OGC}}}PropertyIsNull")
        ET.SubElement(null, f"{{{_OGC}}}PropertyName").text = condition.field
    test = ET.SubElement(parent, f"{{{_OGC}}}{_OPERATORS[condition.operator]}")
    ET.SubElement(test, f"{{{_OGC}}}PropertyName").text = condition.field
    value = condition.value
    text = str(value).lower() if isinstance(value, bool) else str(value)
    ET.SubElement(test, f"{{{_OGC}}}Literal").text = text


def _px(millimetres: float) -> str:
    return f"{millimetres * _PIXELS_PER_MM:.2f}"


def _stroke(parent: ET.Element, colour: str, width_mm: float, *, dashed: bool = False) -> None:
    stroke = _se(parent, "Stroke")
    _se(stroke, "SvgParameter", colour, name="stroke")
    _se(stroke, "SvgParameter", _px(width_mm), name="stroke-width")
    _se(stroke, "SvgParameter", "round", name="stroke-linejoin")
    if dashed:
        _se(stroke, "SvgParameter", f"{_px(2.4)} {_px(1.4)}", name="stroke-dasharray")


def _point(parent: ET.Element, marker: Marker) -> None:
    graphic = _se(_se(parent, "PointSymbolizer"), "Graphic")
    picture = _se(graphic, "ExternalGraphic")
    content = base64.b64encode(marker_svg(marker).encode("utf-8")).decode("ascii")
    _se(picture, "InlineContent", content, encoding="base64")
    _se(picture, "Format", "image/svg+xml")
    # A program that cannot draw the picture takes the nearest well-known mark.
    mark = _se(graphic, "Mark")
    _se(mark, "WellKnownName", marker.fallback)
    _se(_se(mark, "Fill"), "SvgParameter", marker.fill, name="fill")
    _stroke(mark, marker.outline, 0.25)
    _se(graphic, "Size", _px(marker.size_mm))
    if marker.rotation_field:
        turn = ET.SubElement(_se(graphic, "Rotation"), f"{{{_OGC}}}Sub")
        ET.SubElement(turn, f"{{{_OGC}}}PropertyName").text = marker.rotation_field
        ET.SubElement(turn, f"{{{_OGC}}}Literal").text = f"{marker.drawn_azimuth_deg:g}"


def _line(parent: ET.Element, line: Line) -> None:
    symbolizer = _se(parent, "LineSymbolizer")
    _stroke(symbolizer, line.colour, line.width_mm, dashed=line.dashed)
    if line.inside:
        _line(parent, Line(line.inside, line.inside_mm))


def _polygon(parent: ET.Element, fill: Fill) -> None:
    symbolizer = _se(parent, "PolygonSymbolizer")
    if fill.opacity:
        inside = _se(symbolizer, "Fill")
        _se(inside, "SvgParameter", fill.colour, name="fill")
        _se(inside, "SvgParameter", f"{fill.opacity:g}", name="fill-opacity")
    if fill.outline_mm:
        _stroke(symbolizer, fill.outline, fill.outline_mm)


def _text(parent: ET.Element, label: Label) -> None:
    text = _se(parent, "TextSymbolizer")
    ET.SubElement(_se(text, "Label"), f"{{{_OGC}}}PropertyName").text = label.field
    font = _se(text, "Font")
    _se(font, "SvgParameter", f"{label.size_pt:g}", name="font-size")
    _se(font, "SvgParameter", "bold", name="font-weight")
    place = _se(_se(text, "LabelPlacement"), "PointPlacement")
    anchor = _se(place, "AnchorPoint")
    _se(anchor, "AnchorPointX", "0")
    _se(anchor, "AnchorPointY", "0.5")
    shift = _se(place, "Displacement")
    _se(shift, "DisplacementX", "13")
    _se(shift, "DisplacementY", "8")
    halo = _se(text, "Halo")
    _se(halo, "Radius", "2")
    _se(_se(halo, "Fill"), "SvgParameter", palette.WHITE, name="fill")
    _se(_se(text, "Fill"), "SvgParameter", palette.INK, name="fill")
