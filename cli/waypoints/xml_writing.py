"""Writing XML: small things that GPX and KML share."""

from __future__ import annotations

from xml.etree import ElementTree as Xml


def add_text(parent: Xml.Element, name: str, text: str) -> None:
    """Add an element with a text; none for an empty text."""
    if text:
        Xml.SubElement(parent, name).text = text


def xml_bytes(root: Xml.Element) -> bytes:
    """Write a document, indented, UTF-8."""
    Xml.indent(root, " ")
    body: bytes = Xml.tostring(root, "utf-8")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + body + b"\n"
