"""Default symbols of each layer for a desktop GIS: what is drawn where, in the project's language.

The rules here are said once and written twice: as QML (``symbols_qml``) and as SLD
(``symbols_sld``). Both are stored in the plan, so that a layer opens with them.
"""

from __future__ import annotations

from dataclasses import dataclass

from cli import palette
from cli.palette import SITE_SYMBOLS, Ring
from cli.plan.fields import FIELDS, Units, check_units
from cli.plan.structure_looks import PLAIN, StructureLooks

SITE_SIZE_MM = 7.5
HEADCUT_SIZE_MM = 8.5
NOTE_SIZE_MM = 2.6
WORK_SIZE_MM = 9.5


@dataclass(frozen=True, slots=True)
class Marker:
    """A point symbol drawn from an outline.

    ``drawn_azimuth_deg`` is where the foot of the drawing points on the page; with a
    ``rotation_field`` (degrees clockwise from north) the shape turns to that direction.
    """

    rings: tuple[Ring, ...]
    fill: str
    outline: str
    halo: bool
    size_mm: float
    fallback: str
    rotation_field: str | None = None
    drawn_azimuth_deg: float = 180.0


@dataclass(frozen=True, slots=True)
class Line:
    """A line symbol; with an ``area_field`` its width grows with the drainage area.

    With an ``inside`` a thinner line of that colour runs along its middle.
    """

    colour: str
    width_mm: float
    dashed: bool = False
    area_field: str | None = None
    #: Hectares in one unit of the area field.
    area_ha: float = 1.0
    inside: str = ""
    inside_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Fill:
    """A polygon symbol; opacity of the inside, 0 to 1; no outline where its width is 0."""

    colour: str
    opacity: float
    outline: str
    outline_mm: float


@dataclass(frozen=True, slots=True)
class Condition:
    """``field operator value``; an empty field counts as ``empty_counts`` says."""

    field: str
    operator: str  # one of =, <>, <, >=
    value: str | float | bool
    empty_counts: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """One entry of a legend: when it applies and how it is drawn."""

    label: str
    symbol: Marker | Line | Fill
    conditions: tuple[Condition, ...] = ()


@dataclass(frozen=True, slots=True)
class Label:
    """A text beside each feature."""

    field: str
    size_pt: float
    #: Field by which labels give way to each other; the lowest number stays.
    rank_field: str


@dataclass(frozen=True, slots=True)
class LayerSymbols:
    """Rules and label of a layer."""

    rules: tuple[Rule, ...]
    label: Label | None = None


def marker_svg(marker: Marker) -> str:
    """Draw a marker as a small SVG."""
    path = palette.svg_path(marker.rings, scale=18.0, centre=32.0)
    halo = (
        f'<path d="{path}" fill="{palette.WHITE}" stroke="{palette.WHITE}" stroke-width="9" '
        'stroke-linejoin="round"/>'
        if marker.halo
        else ""
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64" width="64" height="64">'
        f'{halo}<path d="{path}" fill="{marker.fill}" stroke="{marker.outline}" '
        'stroke-width="3.2" stroke-linejoin="miter"/></svg>'
    )


def _by_confidence(
    label: str,
    rings: tuple[Ring, ...],
    colour: str,
    others: tuple[Condition, ...],
    **marker: object,
) -> tuple[Rule, Rule]:
    """Give two rules: filled where the finding is sure, outline only where it is not."""
    limit = palette.LOW_CONFIDENCE
    sure = Condition("confidence", ">=", limit, empty_counts=True)
    unsure = Condition("confidence", "<", limit)
    filled = Marker(rings, colour, colour, halo=True, **marker)  # type: ignore[arg-type]
    hollow = Marker(rings, palette.WHITE, colour, halo=True, **marker)  # type: ignore[arg-type]
    return (
        Rule(label, filled, (*others, sure)),
        Rule(f"{label}, unsure", hollow, (*others, unsure)),
    )


_FALLBACKS = {
    "vertical": "square",
    "grade": "square",
    "spread": "triangle",
    "hold": "square",
    "refer": "circle",
}


def _sites(looks: StructureLooks) -> LayerSymbols:
    rules: list[Rule] = []
    own = looks.own_symbols
    for name, symbol in (*((None, s) for s in SITE_SYMBOLS), *own.items()):
        conditions: tuple[Condition, ...] = (Condition("control", "=", symbol.control),)
        if name is None:
            others = [n for n, s in own.items() if s.control == symbol.control]
            conditions += tuple(Condition("structure", "<>", n, empty_counts=True) for n in others)
        else:
            conditions += (Condition("structure", "=", name),)
        rules += _by_confidence(
            symbol.label,
            symbol.rings,
            symbol.colour,
            conditions,
            size_mm=SITE_SIZE_MM,
            fallback=_FALLBACKS[symbol.control],
            rotation_field="flow_azimuth_deg" if symbol.turns else None,
        )
    return LayerSymbols(tuple(rules))


def _structures() -> LayerSymbols:
    """Footprints in the colour of their control; what is not the body is lighter."""
    rules = []
    for symbol in SITE_SYMBOLS:
        words = symbol.label.partition(" (")[0]
        for label, is_body, opacity in (
            (f"{words}: body", True, palette.BODY_OPACITY),
            (f"{words}: apron, keys and other parts", False, palette.PART_OPACITY),
        ):
            conditions = (
                Condition("control", "=", symbol.control),
                Condition("is_body", "=", is_body),
            )
            fill = Fill(symbol.colour, opacity, symbol.colour, 0.25)
            rules.append(Rule(label, fill, conditions))
    return LayerSymbols(tuple(rules))


def _pools() -> LayerSymbols:
    return LayerSymbols(
        tuple(
            Rule(
                label,
                Fill(colour, palette.WEDGE_OPACITY, colour, 0.0),
                (Condition("kind", "=", kind),),
            )
            for label, colour, kind in (
                ("Sediment that will fill in", palette.OCHRE, "wedge"),
                ("Still pool", palette.CHANNEL, "pool"),
            )
        )
    )


def _headcuts() -> LayerSymbols:
    return LayerSymbols(
        _by_confidence(
            "Headcut",
            (palette.COMB,),
            palette.HEADCUT,
            (),
            size_mm=HEADCUT_SIZE_MM,
            fallback="triangle",
            rotation_field="flow_azimuth_deg",
        )
    )


def _works() -> LayerSymbols:
    """A ring around the lowest site of each work, with its rank."""
    ring = Marker((palette.DISC,), palette.WHITE, palette.INK, True, WORK_SIZE_MM, "circle")
    return LayerSymbols((Rule("Work, with its rank", ring),), Label("rank", 9.0, "rank"))


def _referred() -> LayerSymbols:
    """A ring around what is referred, with its place by what is at risk."""
    colour = palette.site_symbol("refer").colour
    ring = Marker((palette.DISC,), palette.WHITE, colour, True, WORK_SIZE_MM, "circle")
    rule = Rule("Referred, by what is at risk", ring)
    return LayerSymbols((rule,), Label("risk_rank", 9.0, "risk_rank"))


def _field_notes() -> LayerSymbols:
    """Small discs: white until somebody has decided what to do there."""

    def disc(fill: str) -> Marker:
        return Marker((palette.DISC,), fill, palette.INK, False, NOTE_SIZE_MM, "circle")

    open_, decided = disc(palette.WHITE), disc(palette.INK)
    return LayerSymbols(
        (
            Rule("Not decided yet", open_, (Condition("decision", "=", "", empty_counts=True),)),
            Rule("Decided on site", decided, (Condition("decision", "<>", ""),)),
        )
    )


def _channels(units: Units) -> LayerSymbols:
    field = next(f for f in FIELDS if (f.layer, f.name) == ("channels", "drainage_area_ha"))
    area_ha = 1.0 / field.factor if units == "us" else 1.0

    def line(*, dashed: bool) -> Line:
        return Line(palette.CHANNEL, 0.5, dashed, field.name_in(units), area_ha)

    return LayerSymbols(
        (
            Rule(
                "Channel (wider: more land drains to it)",
                line(dashed=False),
                (Condition("area_complete", "=", True, empty_counts=True),),
            ),
            Rule(
                "Channel, drainage area cut by the raster's edge",
                line(dashed=True),
                (Condition("area_complete", "=", False),),
            ),
        )
    )


def layer_symbols(layer: str, units: Units, looks: StructureLooks = PLAIN) -> LayerSymbols:
    """Rules of a layer that has geometries; shapes of their own are drawn as `looks` say."""
    if layer == "sites":
        return _sites(looks)
    area = Fill(palette.CHANNEL, palette.DRAINAGE_AREA_OPACITY, palette.CHANNEL, 0.2)
    gully = Fill(palette.CONTOUR, palette.GULLY_OPACITY, palette.CONTOUR, palette.GULLY_LINE_MM)
    ranch = Fill(palette.RANCH, 0.0, palette.RANCH, palette.RANCH_WIDTH_MM)
    road = Line(
        palette.ROAD,
        palette.ROAD_WIDTH_MM,
        inside=palette.WHITE,
        inside_mm=palette.ROAD_INSIDE_MM,
    )
    fixed = {
        "ranch": Rule("Ranch boundary", ranch),
        "drainage_areas": Rule("Land that drains to a site", area),
        "roads": Rule("Road", road),
        "gullies": Rule("Gully: ground cut between edges", gully),
        "look_first": Rule("May be filling again: look first", Line(palette.OCHRE, 1.2, True)),
        "structure_lines": Rule("Crest of a structure", Line(palette.CHARCOAL, 0.7)),
        "cross_sections": Rule("Cross-section", Line(palette.CONTOUR, 0.26)),
    }
    if layer in fixed:
        return LayerSymbols((fixed[layer],))
    made = {
        "headcuts": _headcuts,
        "structures": _structures,
        "pools": _pools,
        "field_notes": _field_notes,
        "works": _works,
        "referred": _referred,
    }
    if layer in made:
        return made[layer]()
    return _channels(check_units(units))
