"""The library says what helps in its own words; only the command names options."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from cli.main import gullywalk
from cli.remedies import OPTION_WORDS, error_text, in_options
from siting.values.siting_remedies import SitingRemedy
from terrain.values.errors import CrsError, GullywalkError, Remedy
from terrain.values.reading_remedies import ReadingRemedy

ROOT = Path(__file__).resolve().parents[2]
OPTION = re.compile(r"(?<![\w-])--[a-z][a-z0-9-]+")
REMEDIES = [*ReadingRemedy, *SitingRemedy]


def texts_of_the_library() -> Iterator[tuple[str, int, str]]:
    for package in ("terrain", "siting"):
        for path in sorted((ROOT / package).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    yield str(path.relative_to(ROOT)), node.lineno, node.value


def options_of_the_command() -> set[str]:
    context = gullywalk.make_context("gullywalk", ["inspect"], resilient_parsing=True)
    commands = [gullywalk.get_command(context, name) for name in gullywalk.list_commands(context)]
    return {name for c in commands if c is not None for p in c.params for name in p.opts}


def test_the_library_names_no_option() -> None:
    found = list(texts_of_the_library())
    assert len(found) > 5000
    named = [f"{path}:{line}: {t!r}" for path, line, t in found if OPTION.search(t)]
    assert not named, "\n".join(named)


@pytest.mark.parametrize("remedy", REMEDIES, ids=lambda r: r.name)
def test_each_remedy_has_words_that_name_options_there_are(remedy: Remedy) -> None:
    words = OPTION_WORDS[remedy]
    named = OPTION.findall(words)
    assert named
    assert set(named) <= options_of_the_command()


def test_every_remedy_of_this_project_is_listed() -> None:
    own = {m for kind in Remedy.__subclasses__() if kind.__module__ != __name__ for m in kind}
    assert own == set(REMEDIES)
    assert len({str(remedy) for remedy in REMEDIES}) == len(REMEDIES)


def test_an_error_is_told_in_options() -> None:
    error = CrsError("dem.tif has no coordinate system", do=ReadingRemedy.GIVE_CRS)
    assert "--" not in str(error)
    assert error_text(error) == (
        "dem.tif has no coordinate system. Give the coordinate system with --crs, such as --crs "
        "EPSG:26913."
    )


def test_the_longest_remedy_is_taken() -> None:
    text = f"Peak flows are empty: {SitingRemedy.GIVE_RAIN_AND_CURVE_NUMBER}."
    assert in_options(text) == (
        "Peak flows are empty: give rainfall and a curve number (--rain or --rain-24h, and "
        "--curve-number or --soils with --cover)."
    )


class OtherRemedy(Remedy):
    """Of a package that the command knows nothing of."""

    BUY = "buy a better one"


@pytest.mark.parametrize("do", [OtherRemedy.BUY, "buy a better one", ""])
def test_what_another_package_says_helps_is_said_as_it_is(do: str) -> None:
    error = GullywalkError("a bad file", expected="a good one", do=do)
    assert error_text(error) == str(error)
    assert str(error) == "a bad file; expected a good one." + (" Buy a better one." if do else "")
