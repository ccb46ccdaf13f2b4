"""Plans and pages that the tests of the map page share, and a browser without a network."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cli.main import run
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer
from cli.plan.relief_layer import relief_picture
from tests import plans
from tests.example_plan import example_layers, example_raster, example_tables, texts

ROOT = Path(__file__).resolve().parents[3]
LONG = "Ditch " * 1700
HOSTILE = (
    '<img src=x onerror="document.title=1">',
    "</script><script>document.title=2</script>",
    LONG,
    "وعاء صخري קערת סלע",
    "Barrage très bas à l'été {{DATA}} {{SCRIPT}}",
    "javascript:document.title=3 ' \" ` & <!-- ]]> \u2028 \\u003c",
)


def make_page(plan: Path, out: Path, *more: str) -> Path:
    assert run(["page", str(plan), "--out", str(out), *more]) == 0
    return out


@pytest.fixture(scope="session")
def sample_plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return plans.sample_plan(tmp_path_factory.mktemp("sample") / "ranch.gpkg")


@pytest.fixture(scope="session")
def sample_page(sample_plan: Path) -> Path:
    return make_page(sample_plan, sample_plan.with_suffix(".html"))


def write_plan(path: Path, layers: dict[str, Layer], units: str = "si") -> Path:
    relief = relief_picture(example_raster(), layers)
    made = list(layers.values())
    return write_geopackage(path, made, tables=example_tables(), relief=relief, units=units)  # type: ignore[arg-type]


def with_columns(layer: Layer, **columns: Any) -> Layer:
    return Layer(layer.name, layer.geometry, {**layer.columns, **columns}, layer.crs)


@pytest.fixture(scope="session")
def hostile_plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    layers = example_layers()
    words = texts(*HOSTILE)
    layers["sites"] = with_columns(layers["sites"], structure=words, reason=words, caution=words)
    layers["ranch"] = with_columns(layers["ranch"], name=texts("</title><b>" + LONG))
    layers["roads"] = with_columns(layers["roads"], name=words[: layers["roads"].rows])
    return write_plan(tmp_path_factory.mktemp("hostile") / "plan.gpkg", layers, "us")


@pytest.fixture(scope="session")
def empty_plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    layers = example_layers()
    about = ("sites", "structures", "structure_lines", "drainage_areas", "pools", "field_notes")
    for name in about:
        layer = layers[name]
        none = np.zeros(layer.rows, dtype=bool)
        assert layer.geometry is not None
        columns = {key: values[none] for key, values in layer.columns.items()}
        layers[name] = Layer(name, layer.geometry[none], columns, layer.crs)
    return write_plan(tmp_path_factory.mktemp("empty") / "plan.gpkg", layers)


@dataclass
class Watched:
    """A page in the browser and everything that went wrong in it."""

    tab: Any
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def clean(self, path: Path) -> None:
        assert self.complaints == []
        assert self.requests == [path.as_uri()]
        assert self.tab.evaluate("window.__violations") == []

    def settle(self) -> None:
        """Wait until the map is drawn: it draws before the next picture."""
        frame = "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
        self.tab.evaluate(f"() => {frame}")

    def chosen(self) -> str:
        rows = self.tab.locator("tr[aria-selected='true']")
        return str(rows.first.get_attribute("data-site")) if rows.count() else ""


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("no chromium is installed: the page is not tested in a browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        one = playwright.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--disable-background-networking"]
        )
        yield one
        one.close()


@pytest.fixture
def visit(browser: Any) -> Iterator[Callable[..., Watched]]:
    """Open a page from disk with the network cut and every complaint noted."""
    contexts = []

    def call(path: Path, wide: int = 1440, high: int = 900, **more: Any) -> Watched:
        context = browser.new_context(
            viewport={"width": wide, "height": high}, offline=True, **more
        )
        contexts.append(context)
        tab = context.new_page()
        watched = Watched(tab)
        tab.on("request", lambda request: watched.requests.append(request.url))
        tab.on("console", lambda message: watched.complaints.append(message.text))
        tab.on("pageerror", lambda error: watched.complaints.append(str(error)))
        tab.add_init_script(
            "window.__violations = []; document.addEventListener('securitypolicyviolation',"
            " (e) => window.__violations.push(e.violatedDirective));"
        )
        tab.goto(path.as_uri())
        tab.wait_for_function("document.getElementById('map').hasAttribute('viewBox')")
        return watched

    yield call
    for context in contexts:
        context.close()
