"""What the golden comparison runs: the same commands on the same ground, in either version."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.conftest import REAL_DEMS

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_dem"
#: Generated ranches by seed; none of them is used elsewhere in the tests.
SEEDS = (771, 772, 773)
#: Real rasters, each with options that they need.
REAL: dict[str, tuple[str, tuple[str, ...]]] = {
    "pozo_4m": ("pozo/pozo_4m.tif", ()),
    "carrizo": ("carrizo/carrizo.tif", ("--crs", "EPSG:26911", "--vertical-unit", "m")),
    "nogp_meadow": ("real/nogp_meadow.tif", ("--vertical-unit", "m")),
}
FLOOD = ("--rain-24h", "2=38mm,10=62mm,25=78mm,100=104mm", "--curve-number", "79")


@dataclass(frozen=True, slots=True)
class Case:
    """One plan and everything that is made from it.

    Parameters
    ----------
    name
        Folder that its files go to.
    screen
        Arguments of ``gullywalk screen``, without the output files.
    dem
        The elevation raster.
    notes
        Measurements from the field that go back into the plan.
    steps
        Further commands, whose ``{out}`` stands for the folder.
    """

    name: str
    screen: tuple[str, ...]
    dem: Path
    notes: Path | None = None
    steps: tuple[tuple[str, ...], ...] = ()

    def commands(self) -> Iterator[tuple[str, ...]]:
        """Every command of the case, in order; ``{out}`` stands for its folder."""
        plan = "{out}/plan.gpkg"
        yield (
            "screen", *self.screen, "--out", plan, "--list", "{out}/list.csv",
            "--map", "{out}/map.png", "--date", "2026-01-15",
        )  # fmt: skip
        yield ("screen", *self.screen, "--out", "{out}/plan_us.gpkg", "--units", "us")
        for unit in ("plan", "plan_us"):
            yield ("explain", f"{{out}}/{unit}.gpkg", "rank:1")
        yield ("explain", plan, "rank:2", "--json")
        yield (
            "explain", plan, "rank:1", "--dem", str(self.dem), "--picture", "{out}/site.png",
        )  # fmt: skip
        yield ("flood", plan, "1")
        yield ("packet", plan, "--top", "6", "--out", "{out}/packet.pdf")
        yield ("page", plan, "--out", "{out}/page.html")
        yield (
            "waypoints", plan, "--dem", str(self.dem), "--hours", "8", "--out", "{out}/walk.gpx",
            "--list", "{out}/walk.csv", "--map", "{out}/walk.png",
        )  # fmt: skip
        yield ("waypoints", plan, "--out", "{out}/walk.kml")
        if self.notes is not None:
            for unit in ("plan", "plan_us"):
                yield (
                    "revise", f"{{out}}/{unit}.gpkg", str(self.notes), "--out",
                    f"{{out}}/{unit}_revised.gpkg",
                )  # fmt: skip
        yield from self.steps


def sample() -> Case:
    """The ranch of the demo, with everything that can be given."""
    dem, features = SAMPLE / "ranch_dem.tif", str(SAMPLE / "ranch.gpkg")
    steps = tuple(
        ("step", name, str(dem), "--out", f"{{out}}/step_{name}{ending}")
        for name, ending in (
            ("condition", ".tif"),
            ("flow-direction", ".tif"),
            ("drainage-area", ".tif"),
            ("channels", ".gpkg"),
            ("headcuts", ".gpkg"),
        )
    )
    steps += (("step", "profile", str(dem), "--channels", "3", "--out", "{out}/step_profile.csv"),)
    return Case(
        "sample",
        (
            str(dem), "--boundary", str(SAMPLE / "boundary.geojson"),
            "--rain", str(SAMPLE / "rainfall.csv"), "--curve-number", "79", "--roads", features,
            "--keep-clear", features, "--keep-clear-layer", "keep_clear",
        ),
        dem,
        SAMPLE / "field_notes.csv",
        steps,
    )  # fmt: skip


def generated(folder: Path, seed: int) -> Case:
    """A generated ranch; its files are made in a folder of their own."""
    from sample_dem.export import write_ranch
    from sample_dem.generator import make_ranch

    own = folder / f"ranch_{seed}"
    own.mkdir(parents=True, exist_ok=True)
    dem = own / "ranch_dem.tif"
    if not dem.exists():
        write_ranch(make_ranch(seed), own)
    features = str(own / "ranch.gpkg")
    return Case(
        f"ranch_{seed}",
        (
            str(dem), "--boundary", str(own / "boundary.geojson"),
            "--rain", str(own / "rainfall.csv"), "--curve-number", "84", "--roads", features,
            "--materials", "rock,logs",
        ),
        dem,
    )  # fmt: skip


def real() -> Iterator[Case]:
    """Real rasters that are at hand."""
    for name, (file, options) in REAL.items():
        dem = REAL_DEMS / file
        if dem.exists():
            yield Case(name, (str(dem), *options, *FLOOD), dem)
        else:
            print(f"{name}: left out, the raster is not at hand")
