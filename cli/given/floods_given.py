"""Options that floods are made from, and how they become settings of the library."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import click

from cli.options import Checked, F, option, rain_options, together

if TYPE_CHECKING:
    from siting.floods.rainfall import Rainfall
    from siting.floods.regional import RegionalSettings
    from siting.places.flood_settings import FloodSettings
    from siting.places.land_maps import LandSettings

_SECTION = "Rain and floods"


@dataclass(frozen=True, slots=True)
class FloodsGiven:
    """What the command line said about rain and floods."""

    rain: str | None
    rain_24h: Any
    curve_number: float | None
    storm_type: str
    soils: str | None
    soils_field: str | None
    soils_layer: str | None
    drained: bool
    cover: str | None
    cover_field: str | None
    cover_layer: str | None
    cover_condition: str
    cover_table: str | None
    flood_method: tuple[str, ...] | None
    region: str | None
    equations: str | None
    basin: Mapping[str, float] | None
    runoff_coefficient: float | None
    ponds: float
    bankfull_division: str

    @classmethod
    def taken_from(cls, given: dict[str, Any]) -> FloodsGiven:
        """Take the options that belong here out of all that were given."""
        return cls(**{f.name: given.pop(f.name) for f in fields(cls)})

    def check_usage(self) -> None:
        """Refuse options that contradict each other, or that lack their partner."""
        if self.rain is not None and self.rain_24h is not None:
            raise click.UsageError("--rain and --rain-24h are both given; give one of them.")
        if (self.soils is None) != (self.cover is None):
            given, lacks = ("--soils", "--cover") if self.cover is None else ("--cover", "--soils")
            raise click.UsageError(
                f"{given} is given without {lacks}: a curve number needs both. Or give one "
                "--curve-number for all of the land."
            )
        if self.soils is not None and self.curve_number is not None:
            raise click.UsageError(
                "--curve-number and maps of soils and cover are both given; give one of them."
            )
        for name, partner in (
            ("soils_field", "soils"),
            ("soils_layer", "soils"),
            ("cover_field", "cover"),
            ("cover_layer", "cover"),
            ("cover_table", "cover"),
            ("equations", "region"),
            ("basin", "region"),
        ):
            if getattr(self, name) is not None and getattr(self, partner) is None:
                option_name = name.replace("_", "-")
                raise click.UsageError(f"--{option_name} is given without --{partner}.")
        if self.flood_method and "regional" in self.flood_method and self.region is None:
            raise click.UsageError("--flood-method regional is given without --region.")

    def files(self) -> Iterator[tuple[str, str]]:
        """What each input file is for, and the file."""
        for name in ("rain", "soils", "cover", "cover_table", "equations"):
            path = getattr(self, name)
            if path is not None:
                yield name.replace("_", " "), path

    def record(self) -> dict[str, object]:
        """Settings as they were given, for the record of the run; files are recorded apart."""
        apart = {"rain", "soils", "cover", "cover_table", "equations", "rain_24h"}
        out = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in apart}
        if self.rain_24h is not None:
            depths = zip(self.rain_24h.return_periods_yr, self.rain_24h.depths_mm[0], strict=True)
            out["rain_24h"] = ",".join(f"{years:g}={depth:g}mm" for years, depth in depths)
        if self.basin is not None:
            out["basin"] = ",".join(f"{name}={value:g}" for name, value in self.basin.items())
        if self.flood_method is not None:
            out["flood_method"] = ",".join(self.flood_method)
        return out

    def rainfall(self) -> Rainfall | None:
        """Read the rain."""
        from siting.floods.rainfall_reading import read_rainfall

        found: Rainfall | None = self.rain_24h if self.rain is None else read_rainfall(self.rain)
        return found

    def maps(self) -> LandSettings | None:
        """Maps of soil and cover."""
        from siting.floods.curve_numbers import read_covers
        from siting.places.land_maps import LandSettings

        if self.soils is None or self.cover is None:
            return None
        return LandSettings(
            soils=self.soils,
            cover=self.cover,
            soils_field=self.soils_field,
            soils_layer=self.soils_layer,
            cover_field=self.cover_field,
            cover_layer=self.cover_layer,
            condition=self.cover_condition,
            table=None if self.cover_table is None else read_covers(self.cover_table),
            drained=self.drained,
        )

    def regional(self) -> RegionalSettings:
        """Regions, equations and measures for the regional method."""
        from siting.floods.regional import RegionalSettings
        from siting.floods.regional_equations import read_equations
        from siting.places.flood_options import parse_regions

        book = None if self.equations is None else read_equations(self.equations)
        shares = {} if self.region is None else parse_regions(self.region, book)
        return RegionalSettings(shares, book, self.basin or {})

    def settings(self) -> FloodSettings:
        """All of it as settings of the library; the maps are not read yet."""
        from siting.places.flood_settings import FloodSettings

        return FloodSettings(
            rainfall=self.rainfall(),
            curve_number=self.curve_number,
            maps=self.maps(),
            storm_type=self.storm_type,
            division=self.bankfull_division,
            methods=self.flood_method or (),
            regional=self.regional(),
            runoff_coefficient=self.runoff_coefficient,
            pond_fraction=self.ponds / 100.0,
        )


def _read_methods(text: str) -> tuple[str, ...]:
    from siting.places.flood_compare import parse_methods

    return parse_methods(text)


def _read_basin(text: str) -> dict[str, float]:
    from siting.places.flood_options import parse_basin

    return parse_basin(text)


def _read_division(text: str) -> str:
    from siting.floods.bankfull_curves import bankfull_curve

    return bankfull_curve(text).name


def _text(name: str, metavar: str, meaning: str) -> Callable[[F], F]:
    return option(name, metavar=metavar, section=_SECTION, help=meaning)


flood_options = together(
    rain_options,
    _text(
        "--soils",
        "FILE",
        "Soil map: polygons with a hydrologic group A to D (dual groups A/D too). With --cover it "
        "gives the curve number of every cell.",
    ),
    _text("--soils-field", "NAME", "Field of the soil map that holds the group."),
    _text("--soils-layer", "NAME", "Layer of the soil map, where the file has several."),
    option(
        "--drained",
        is_flag=True,
        section=_SECTION,
        help="Take dual soil groups as drained: A/D then counts as A, not as D.",
    ),
    _text(
        "--cover",
        "FILE",
        "Land cover: polygons or a raster, with the codes of the national land-cover map or of "
        "--cover-table.",
    ),
    _text("--cover-field", "NAME", "Field of the cover polygons that holds the code."),
    _text("--cover-layer", "NAME", "Layer of the cover polygons, where the file has several."),
    option(
        "--cover-condition",
        type=click.Choice(["poor", "fair", "good"]),
        default="fair",
        show_default=True,
        section=_SECTION,
        help="How well the ground is covered (TR-55 tables 2-2c and 2-2d).",
    ),
    _text("--cover-table", "FILE.toml", "Curve numbers by cover and code instead of TR-55's."),
    option(
        "--flood-method",
        type=Checked("a flood method", _read_methods),
        metavar="NAME",
        section=_SECTION,
        help="Flood method to use: unit_hydrograph, graphical, rational, regional, or one of "
        "another package; several with commas, in order of preference. Without it the first whose "
        "published limits hold.",
    ),
    _text(
        "--region",
        "TEXT",
        "Region of the USGS regional equations, such as WY-2, or shares of several: "
        "NM-7=0.6,NM-8=0.4.",
    ),
    _text("--equations", "FILE.toml", "Regional equations of your own."),
    option(
        "--basin",
        type=Checked("basin measures", _read_basin),
        metavar="TEXT",
        section=_SECTION,
        help="Further measures that an equation asks for: "
        "mean_annual_precipitation_mm=400,soils_index=2.9.",
    ),
    option(
        "--runoff-coefficient",
        type=click.FloatRange(min=0, min_open=True, max=1),
        metavar="NUMBER",
        section=_SECTION,
        help="Coefficient C of the rational method, instead of that of the soil and cover maps.",
    ),
    option(
        "--ponds",
        type=click.FloatRange(min=0, max=100),
        default=0.0,
        show_default=True,
        metavar="PERCENT",
        section=_SECTION,
        help="Ponds and swamps off the main flow path, per cent of the land (graphical method).",
    ),
    option(
        "--bankfull-division",
        type=Checked("a division", _read_division),
        default="usa",
        show_default=True,
        metavar="NAME",
        section=_SECTION,
        help="Physiographic division of the regional bankfull curve: usa, rocky_mountain_system, "
        "intermontane_plateaus, interior_plains and others.",
    ),
)
