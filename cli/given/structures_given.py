"""Options about what is built: materials, roads, costs and money, and how they become settings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import click

from cli.options import Checked, option, together

if TYPE_CHECKING:
    from siting.layout.keep_files import KeepFiles
    from siting.layout.measuring import BuildSettings
    from siting.places.spot import Earth, Stock
    from siting.works.takes import Means

#: Building materials that a ranch may have (`siting.places.spot.MATERIALS`).
MATERIALS = ("rock", "logs", "brush")
#: Soils of roads (`siting.structures.dip_spacing.SOILS`); what is not known is taken for erosive.
ROAD_SOILS = ("erosive", "firm")
DEFAULT_ROAD_SOIL = "erosive"
#: Return periods that sizes may be made for, years.
DESIGN_YEARS = ("2", "5", "10", "25", "50", "100")
DEFAULT_DESIGN_YEARS, DEFAULT_SPARE, DEFAULT_CREW = "10", 20.0, 4
#: Solid stone that is used for building (from memory): pumice apart, 1,600 to 3,300 kg/m3.
STONE_DENSITY_KG_M3, LEAST_STONE, MOST_STONE = 2650.0, 1600.0, 3300.0
#: Usual spare (common practice, no published source), per cent.
USUAL_SPARE = (15.0, 25.0)
_SECTION = "Structures"


@dataclass(frozen=True, slots=True)
class StructuresGiven:
    """What the command line said about structures."""

    materials: frozenset[str]
    roads: str | None
    roads_layer: str | None
    dips: str
    road_soil: str
    keep_clear: str | None
    keep_clear_layer: str | None
    wood: str | None
    stone_density: float
    anchor_hold: float | None
    bank_soil: str | None
    bank_soil_field: str | None
    bed_cover: str | None
    costs: str | None
    budget: float | None
    crew_days: float | None
    crew_size: int
    design_years: str
    spare: float

    @classmethod
    def taken_from(cls, given: dict[str, Any]) -> StructuresGiven:
        """Take the options that belong here out of all that were given."""
        return cls(**{f.name: given.pop(f.name) for f in fields(cls)})

    def stock(self) -> Stock:
        """What there is to build with."""
        from siting.places.spot import Stock

        usual = Stock()
        return Stock(
            have=self.materials,
            wood=self.wood or usual.wood,
            stone_density_kg_m3=self.stone_density,
            anchor_n_per_post=self.anchor_hold or 0.0,
        )

    def earth(self) -> Earth:
        """What bed and banks are made of."""
        from siting.places.spot import Earth

        return Earth(soil=self.bank_soil or "", cover=self.bed_cover or "")

    def keep_files(self) -> KeepFiles | None:
        """Files of roads and of what structures keep off; None where neither is given."""
        from siting.layout.keep_files import KeepFiles

        if self.roads is None and self.keep_clear is None:
            return None
        return KeepFiles(self.roads, self.keep_clear, self.roads_layer, self.keep_clear_layer)

    def settings(self) -> BuildSettings:
        """What to build with and for; the files of features are not read yet.

        Raises
        ------
        CostError
            The file of costs cannot be used.
        """
        from siting.layout.measuring import BuildSettings
        from siting.structures.catalogue import structure_types
        from siting.works.costs import load_costs

        return BuildSettings(
            stock=self.stock(),
            types=tuple(structure_types(wholes=load_costs(self.costs).wholes)),
            design_period_yr=float(self.design_years),
            keep_files=self.keep_files(),
            road_dips=self.dips == "yes",
            road_soil=self.road_soil,
            earth=self.earth(),
        )

    def means(self) -> Means:
        """Prices, spare, and what there is to spend.

        Raises
        ------
        CostError
            The file of costs cannot be used.
        """
        from siting.works.costs import load_costs
        from siting.works.takes import Means

        return Means(
            costs=load_costs(self.costs),
            spare=self.spare / 100.0,
            crew_size=self.crew_size,
            budget=self.budget,
            crew_days=self.crew_days,
        )

    def check_usage(self) -> None:
        """Refuse options that contradict each other, or that lack their partner."""
        for name, partner in (("roads_layer", "roads"), ("keep_clear_layer", "keep_clear")):
            if getattr(self, name) is not None and getattr(self, partner) is None:
                raise click.UsageError(
                    f"--{name.replace('_', '-')} is given without --{partner.replace('_', '-')}."
                )
        if self.roads is None and self.dips != "yes":
            raise click.UsageError("--dips no is given without --roads.")
        if self.road_soil != DEFAULT_ROAD_SOIL and (self.roads is None or self.dips == "no"):
            raise click.UsageError("--road-soil is about dips on roads, but none are laid.")
        if self.bank_soil is not None and self.bank_soil_field is not None:
            raise click.UsageError(
                "--bank-soil and --bank-soil-field are both given; give one of them."
            )
        if not self.materials and (self.roads is None or self.dips == "no"):
            raise click.UsageError(
                "--materials none leaves only what is made of earth on roads: give --roads, and "
                "not --dips no."
            )
        for name in ("wood", "anchor_hold"):
            if getattr(self, name) is not None and "logs" not in self.materials:
                raise click.UsageError(
                    f"--{name.replace('_', '-')} is about logs, but --materials has none: give "
                    "both or neither."
                )
        if self.stone_density != STONE_DENSITY_KG_M3 and "rock" not in self.materials:
            raise click.UsageError(
                "--stone-density is about rock, but --materials has none: give both or neither."
            )

    def notes(self) -> tuple[str, ...]:
        """What a person should think over, plain sentences."""
        out = []
        low, high = USUAL_SPARE
        if not low <= self.spare <= high:
            out.append(
                f"A spare of {self.spare:g} % was asked for; {low:g} to {high:g} % is usual "
                "(common practice, no published source)."
            )
        if self.budget is not None and self.costs is None:
            out.append(
                "The budget is held against the package's own costs; give --costs with local "
                "prices."
            )
        return tuple(out)

    def files(self) -> Iterator[tuple[str, str]]:
        """What each input file is for, and the file."""
        for name in ("roads", "keep_clear", "costs"):
            path = getattr(self, name)
            if path is not None:
                yield name.replace("_", " "), path

    def record(self) -> Mapping[str, object]:
        """Settings as they were given, for the record of the run; files are recorded apart."""
        apart = {"roads", "keep_clear", "costs"}
        out = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in apart}
        out["materials"] = ",".join(n for n in MATERIALS if n in self.materials) or "none"
        return out


def _read_materials(text: str) -> frozenset[str]:
    names = [name.strip().lower() for name in text.split(",")]
    if names == ["none"]:
        return frozenset()
    unknown = [name for name in names if name not in MATERIALS]
    if unknown:
        what = f"'{unknown[0]}'" if unknown[0] else "an empty name"
        raise click.BadParameter(
            f"{what} is no material; expected some of {', '.join(MATERIALS)}, with commas, or none."
        )
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise click.BadParameter(f"{twice} is named twice.")
    return frozenset(names)


def _read_wood(text: str) -> str:
    from siting.hydraulics.wood import species

    known = {name.casefold(): name for name in species()}
    found = known.get(text.strip().casefold())
    if found is None:
        raise click.BadParameter(
            f"'{text}' is no wood of the table; expected one of {', '.join(known.values())}."
        )
    return found


def _read_soil(text: str) -> str:
    from siting.hydraulics.resistance import soil_names, soil_of
    from terrain.values.errors import ParameterError

    try:
        return soil_of(text).symbol
    except ParameterError:
        raise click.BadParameter(
            f"'{text}' is no soil of the table; expected one of {', '.join(soil_names())}."
        ) from None


def _read_cover(text: str) -> str:
    from siting.hydraulics.resistance import BARE, covers

    name = " ".join(text.split()).casefold()
    if name not in (BARE, *covers()):
        raise click.BadParameter(
            f"'{text}' is no cover of the table; expected one of {', '.join((BARE, *covers()))}."
        )
    return name


def _number(least: float, most: float = math.inf, *, above: bool = False) -> click.ParamType:  # type: ignore[type-arg]
    """A finite number within limits; above the lower one where it may not be met itself."""
    expected = f"above {least:g}" if above else f"of {least:g} or more"
    if math.isfinite(most):
        expected = f"from {least:g} to {most:g}"

    def read(text: str) -> float:
        value = float(text)
        if not (math.isfinite(value) and least <= value <= most) or (above and value == least):
            raise click.BadParameter(f"{text} is out of range; expected a number {expected}.")
        return value

    return Checked("a number", read)


def _file(name: str, metavar: str, meaning: str) -> Any:
    return option(name, metavar=metavar, section=_SECTION, help=meaning)


structure_options = together(
    option(
        "--materials",
        type=Checked("a list of materials", _read_materials),
        metavar="LIST",
        default=",".join(MATERIALS),
        show_default=True,
        section=_SECTION,
        help="What there is to build with, with commas, or none. Structures that need another "
        "material are not proposed.",
    ),
    _file(
        "--roads",
        "FILE",
        "Roads: any vector file with lines. Structures keep off them, and what leads "
        "water off a road is proposed along them. A field 'ours' (no), 'public' (yes) or 'owner' "
        "(county, state, neighbor and the like) tells a road that is only kept clear of.",
    ),
    _file("--roads-layer", "NAME", "Layer of the roads' file, where it has several."),
    option(
        "--dips",
        type=click.Choice(("yes", "no")),
        default="yes",
        show_default=True,
        section=_SECTION,
        help="Whether dips are proposed on the roads; no keeps structures off them only.",
    ),
    option(
        "--road-soil",
        type=click.Choice(ROAD_SOILS),
        default=DEFAULT_ROAD_SOIL,
        show_default=True,
        section=_SECTION,
        help="Soil of the roads, for the distance between dips: erosive (fine, friable, silt, fine "
        "sand), or firm (coarse, rocky, gravel, some clay). Take erosive where you do not know.",
    ),
    _file(
        "--keep-clear",
        "FILE",
        "Buildings, ponds, culverts and the like that structures must keep off: any vector file; a "
        "field 'kind' says what each is.",
    ),
    _file("--keep-clear-layer", "NAME", "Layer of that file, where it has several."),
    option(
        "--wood",
        type=Checked("a wood", _read_wood),
        metavar="SPECIES",
        section=_SECTION,
        help="Species of the logs, for their weight in water. Without it ponderosa pine.",
    ),
    option(
        "--stone-density",
        type=_number(LEAST_STONE, MOST_STONE),
        metavar="KG/M3",
        default=STONE_DENSITY_KG_M3,
        show_default=True,
        section=_SECTION,
        help="Density of solid stone.",
    ),
    option(
        "--anchor-hold",
        type=_number(0.0),
        metavar="NEWTON",
        section=_SECTION,
        help="Tested hold of one post with its wire. Without it posts and wire count for nothing "
        "in holding logs down.",
    ),
    option(
        "--bank-soil",
        type=Checked("a soil", _read_soil),
        metavar="SOIL",
        section=_SECTION,
        help="Soil of beds and banks, by its symbol of the unified soil classification (SP, SM, "
        "SC, ML, CL-ML, CL, CH, GP) or a texture such as 'sandy loam'. Without it nobody knows "
        "what they stand.",
    ),
    option(
        "--bank-soil-field",
        metavar="NAME",
        section=_SECTION,
        help="Field of the map of --soils that holds such a symbol or texture, instead of one "
        "soil for all.",
    ),
    option(
        "--bed-cover",
        type=Checked("a cover", _read_cover),
        metavar="COVER",
        section=_SECTION,
        help="What grows on the beds: bare, bunch grass, long grass or sod. Without it channels "
        "are taken for bare, and floors where water spreads for unknown.",
    ),
    _file("--costs", "FILE.toml", "Costs to use instead of the package's own."),
    option(
        "--budget",
        type=_number(0.0, above=True),
        metavar="AMOUNT",
        section=_SECTION,
        help="Money there is, in that of the cost file: the best whole set within it is chosen.",
    ),
    option(
        "--crew-days",
        type=_number(0.0, above=True),
        metavar="DAYS",
        section=_SECTION,
        help="Days of work of a crew there are: the best whole set within them is chosen.",
    ),
    option(
        "--crew-size",
        type=click.IntRange(min=1, max=100),
        metavar="PEOPLE",
        default=DEFAULT_CREW,
        show_default=True,
        section=_SECTION,
        help="People in a crew, for counting its days.",
    ),
    option(
        "--design-years",
        type=click.Choice(DESIGN_YEARS),
        default=DEFAULT_DESIGN_YEARS,
        show_default=True,
        section=_SECTION,
        help="Return period of the flood that sizes are made for.",
    ),
    option(
        "--spare",
        type=_number(0.0, 100.0),
        metavar="PERCENT",
        default=DEFAULT_SPARE,
        show_default=True,
        section=_SECTION,
        help="Material to bring beyond what is built in; 15 to 25 is usual (common practice).",
    ),
)
