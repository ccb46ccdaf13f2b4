"""Texts for XML and small screens."""

from __future__ import annotations

from xml.etree import ElementTree as Xml

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.waypoints.xml_texts import plain, sentences


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=300), st.integers(10, 80))
def test_any_text_becomes_a_short_line_that_xml_allows(text: str, most: int) -> None:
    line = plain(text, most)
    assert len(line) <= most
    assert line == line.strip()
    assert "\n" not in line
    element = Xml.Element("name")
    element.text = line
    assert Xml.fromstring(Xml.tostring(element, "utf-8")).text == (line or None)
    assert plain(line, most) == line


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (None, ""),
        ("a\x00b\x1b[0mc", "a b [0mc"),
        ("  two \r\n lines ", "two lines"),
        ("\u202eevil\u202c \u2066x\u2069", "evil x"),
        ("Très bas סכר", "Très bas סכר"),
        ("one two three four", "one two three..."),
        ("x" * 30, "x" * 14 + "..."),
    ],
)
def test_lines(text: str | None, line: str) -> None:
    assert plain(text, 17 if text and len(text) > 17 else 60) == line


def test_whole_sentences_are_kept() -> None:
    text = "It drops 1.1 m here. It is 0.5 m deep. Do not work below it."
    assert sentences(text, 45) == "It drops 1.1 m here. It is 0.5 m deep."
    assert sentences(text, 200) == text
    assert sentences("One sentence that is far too long to keep whole.", 20).endswith("...")
    assert sentences(None, 20) == ""
