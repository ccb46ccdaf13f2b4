"""Setting the packet: data and pictures in, a tagged PDF out."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import typst

from cli.file_errors import OutputError
from cli.packet.printable import font_paths

_TEMPLATES = ("packet.typ", "look.typ", "sheet.typ")


def typeset(data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
    """Set a packet; the same input gives the same bytes.

    Only fonts that come with the typesetter or with the drawing library are used, so that every
    machine gives the same pages. The words reach the typesetter as JSON and are never markup.

    Parameters
    ----------
    data
        Everything that is written, texts and lists.
    pictures
        File name to content.

    Returns
    -------
    bytes
        A PDF with tags.

    Raises
    ------
    OutputError
        The typesetter refuses it.
    """
    with tempfile.TemporaryDirectory(prefix="gullywalk-") as name:
        folder = Path(name)
        for template in _TEMPLATES:
            shutil.copyfile(Path(__file__).with_name(template), folder / template)
        fonts = folder / "fonts"
        fonts.mkdir()
        for font in font_paths():
            shutil.copyfile(font, fonts / font.name)
        for file, content in pictures.items():
            (folder / file).write_bytes(content)
        compiler = typst.Compiler(
            str(folder / "packet.typ"),
            root=str(folder),
            font_paths=typst.Fonts(
                include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(fonts)]
            ),
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        )
        try:
            return _compiled(compiler)
        except typst.TypstError as error:
            raise OutputError(f"the packet could not be set ({error.message})") from error


def _compiled(compiler: typst.Compiler) -> bytes:
    """Set it by the standard of accessible documents, which asks for a shape of every letter.

    Where one is missing the packet is tagged all the same, but does not claim the standard.
    """
    # A fixed moment: the packet does not say when it was made.
    try:
        made = compiler.compile(format="pdf", timestamp=0, pdf_standards="ua-1")
    except typst.TypstError:
        made = compiler.compile(format="pdf", timestamp=0)
    assert isinstance(made, bytes)
    return made
