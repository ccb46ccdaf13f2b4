"""How many printed figures are asserted: the tests of this folder are run here and counted.

A figure counts when an assertion on it has just held (`printed.py`), not because it stands in a
file. Worked answers are counted apart from cells of tables. What was worked by hand from a formula,
or by another program, is in `tests/worked` and does not count.
"""

from __future__ import annotations

import importlib
import inspect
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from tests.published import printed

HERE = Path(__file__).parent
MODULES = sorted(p.stem for p in HERE.glob("test_*.py") if p.stem != "test_count")
#: Each worked example: how many of its figures are asserted, and what its test says of the source.
ANSWERS = {
    "CN-1": (3, "TR-55 example 4-1"),
    "CN-4": (1, "CIVE 445"),
    "CN-6": (1, "CIVE 445"),
    "CN-9": (2, "NEH chapter 10, example 10-3"),
    "CN-10": (3, "McCuen, example 7-15"),
    "CN-11": (3, "McCuen, example 7-18"),
    "CN-12": (1, "McCuen, example 7-19"),
    "CN-13": (1, "Fundamentals of Engineering examination"),
    "TC-6": (1, "TR-55 chapter 3 example, worksheet 3"),
    "TC-7": (2, "TR-55 chapter 3 example, worksheet 3"),
    "TC-8": (2, "TR-55 chapter 3 example, worksheet 3"),
    "TC-9": (1, "TR-55 chapter 3 example, worksheet 3"),
    "TC-11": (1, "CIVE 445"),
    "TC-13": (1, "NEH chapter 15 (2010), Mawney Brook by the lag equation"),
    "TC-14": (1, "NEH chapter 15 (2010), Mawney Brook by the velocity method"),
    "TC-15": (1, "McCuen, example 3-13"),
    "TC-16": (1, "ABDER drainage course notes p. 67"),
    "TC-17": (1, "IME drainage course notes p. 29"),
    "PK-1": (3, "TR-55 example 4-1, worksheet 4"),
    "PK-2": (2, "TR-55 worksheet 4"),
    "PK-3": (2, "textbook example 5-9"),
    "UH-1": (3, "CIVE 445"),
    "UH-3": (1, "part 630, example 16-1"),
    "UH-4": (3, "example 9-23"),
    "RM-1": (1, "CIVE 445"),
    "RM-2": (1, "published homework"),
    "RM-4": (3, "example 7-11"),
    "RM-5": (1, "example 7-9"),
    "RM-6": (1, "IPR-715) p. 130"),
    "RM-7": (1, "IPR-715) p. 131"),
    "WY-1": (1, "WRIR 03-4107 pp. 30-33"),
    "WY-2": (3, "WRIR 03-4107 pp. 30-33"),
    "WY-3": (1, "WRIR 03-4107 pp. 30-33"),
    "WY-4": (3, "WRIR 03-4107 pp. 30-33"),
    "NM-1": (1, "SIR 2008-5119 p. 11"),
    "AZ-1": (3, "SIR 2014-5211 p. 34"),
    "NV-1": (4, "Paper 2433 pp. 39-40"),
    "NV-2": (2, "Paper 2433 p. 41"),
    "OC-1": (7, "Mott"),
    "OC-6": (2, "course solution"),
    "OC-7": (1, "CIVE 530"),
    "OC-10": (1, "HDS-4, example 4.8"),
    "OC-11": (1, "HDS-4, example 4.8"),
    "OC-15": (2, "HDS-6 (2001) p. 2.88"),
    "OC-16": (2, "HDS-6 (2001) p. 2.78"),
    "OC-17": (2, "CIVE 530, midterm of spring 2008"),
    "OC-18": (2, "CIVE 530, midterm of spring 2007"),
    "OC-19": (3, "CIVE 530, midterm of fall 2008"),
    "OC-20": (4, "CIVE 444, homework 4 of fall 2009, problem 3"),
    "OC-21": (1, "CIVE 444, homework 4 of fall 2009, problem 4"),
    "OC-22": (1, "CIVE 530, midterm 2 of spring 2004"),
    "OC-23": (1, "CIVE3415, example sheet 2 (2024), question E2.1"),
    "OC-24": (1, "CIVE3415, example sheet 2 (2024), question E2.2"),
    "OC-25": (6, "EM 1110-2-1601, appendix H"),
    "OC-26": (2, "Floodway Design Guide 2006, example 1"),
    "OC-27": (3, "Delmiro Gouveia, design sheet 1521:120"),
    "OC-28": (1, "Delmiro Gouveia, design sheet 1521:165"),
    "OC-29": (1, "Sheet of a channel of gabions"),
    "OC-30": (1, "GATE examination"),
    "RK-6": (2, "HDS-6 p. 6.24"),
    "RK-7": (2, "HDS-6 p. 6.56, problem 2a"),
    "RK-8": (2, "HDS-6 p. 6.56, problem 2b"),
    "RK-22": (2, "Robinson, Rice and Kadavy 1998"),
    "RK-23": (3, "HEC-15 (2005), gabion mattress example"),
    "RK-24": (3, "HDS-6 p. 6.70"),
    "RK-25": (2, "HEC-11, example 1"),
    "RK-26": (2, "HEC-11, example 2"),
    "RK-27": (5, "mine permit, document 993768 p. 30"),
    "RK-28": (2, "Design of Rock Chutes per Robinson"),
    "BK-1": (1, "civil engineering examination"),
    "OC-40": (3, "Rand 1955"),
    "OC-41": (1, "design sheet of a vertical drop, case II"),
    "RK-40": (2, "HEC-23 (2009), design guideline 5"),
    "SP-1": (2, "Sustainable Technologies Evaluation Program"),
}
#: Cells of tables, each with how many are asserted. Of TR-55 table 2-1 nine rows are checked whole
#: (that of 7.0 in has a faulty cell), one cell twice.
CELLS = {
    "TR-55 table 2-1": 91,
    "TR-55 table 2-2c": 60,
    "TR-55 table 2-2d": 48,
    "TR-55 table 4-1": 11,
    "TR-55 table 4-2": 5,
    "NEH chapter 10, table 10-1": 37,
    "NEH chapter 15, table 15-3": 2,
    "chapter 16, tables 16-1 and 16-2": 7,
    "module 206D, table 2": 7,
    "Floodway Design Guide 2006, tables D1 and D2": 10,
    "HEC-15 (2005), table 2.3": 14,
    "SIR 2008-5119 appendix 1": 4,
    "NOAA Atlas 14, Fort Myers": 8,
    "NOAA Atlas 14, Irving": 4,
    "NOAA Atlas 14, Wilmington": 1,
    "NOAA Atlas 14, Ann Arbor": 21,
    "distances between water bars": 8,
    "Low-Volume Roads Engineering, table 7.1": 10,
    "REF_SPECIES": 48,
    "NRS-RN-38": 1,
}


class Asserted(NamedTuple):
    """A figure, and what the test says that asserted it."""

    figure: printed.Printed
    said: str


def cases_of(test: Callable[..., None]) -> Iterator[dict[str, Any]]:
    """Arguments of each case of a test, as its parametrize marks give them; one mark at most."""
    marks = [m for m in getattr(test, "pytestmark", []) if m.name == "parametrize"]
    if not marks:
        yield {}
        return
    (mark,) = marks
    names, rows = mark.args
    for row in rows:
        values = row.values if isinstance(row, type(pytest.param())) else row
        yield {names: values} if isinstance(names, str) else dict(zip(names, values, strict=True))


@pytest.fixture
def asserted(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> list[Asserted]:
    """Run every test of the folder once more and keep what it asserts."""
    found = []
    for name in MODULES:
        module = importlib.import_module(f"tests.published.{name}")
        for test in [v for k, v in vars(module).items() if k.startswith("test_")]:
            for case in cases_of(test):
                wanted = [a for a in inspect.signature(test).parameters if a not in case]
                monkeypatch.setattr(printed, "ASSERTED", [])
                test(**case, **{a: request.getfixturevalue(a) for a in wanted})
                said = f"{module.__doc__} {test.__doc__}"
                found += [Asserted(f, " ".join(said.split())) for f in printed.ASSERTED]
    return found


def test_each_printed_figure_is_asserted_by_a_test_that_names_its_source(
    asserted: list[Asserted],
) -> None:
    answers = Counter(a.figure.of for a in asserted if a.figure.kind == "answer")
    assert answers == {of: n for of, (n, _) in ANSWERS.items()}
    assert Counter(a.figure.of for a in asserted if a.figure.kind == "cell") == CELLS
    for figure, said in asserted:
        source = ANSWERS[figure.of][1] if figure.kind == "answer" else figure.of
        assert source in said, f"the test of {figure.of} does not name {source}"


def test_enough_worked_answers_are_among_them(asserted: list[Asserted]) -> None:
    """At least 130 figures of at least 70 distinct examples; cells of tables do not count."""
    answers = [a.figure for a in asserted if a.figure.kind == "answer"]
    assert len({(f.of, f.figure) for f in answers}) >= 130
    assert len({f.of for f in answers}) >= 70


def test_a_figure_that_does_not_come_out_is_no_figure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(printed, "ASSERTED", [])
    with pytest.raises(AssertionError):
        printed.answer(1.02, 1.01, of="X-1", within=0.005)
    with pytest.raises(AssertionError):
        printed.cells([1.0, 2.2], [1.0, 2.0], of="X-2", within=0.1)
    assert printed.ASSERTED == []
    with pytest.raises(AssertionError, match="say why"):
        printed.answer(1.006, 1.01, of="X-1", within=0.006)
    assert printed.ASSERTED == []
    printed.answer(1.013, 1.01, of="X-1", within=0.005)
    printed.cells([1.0, float("nan")], [1.0, float("nan")], of="X-2")
    assert [f[:2] for f in printed.ASSERTED] == [("answer", "X-1"), ("cell", "X-2")]
