"""Typesets sheets of paper as PDF, and draws the codes that lead back to a page.

A sheet is a template under `templates/` and a document of plain data. The data
goes in as JSON and is only ever shown as text, so what people have typed can't
become markup. Fonts are those that come with the typesetter: a sheet is the
same, byte for byte, on every machine.
"""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from io import BytesIO
from typing import Any

import segno
import typst
from django.conf import settings


def typeset(template: str, data: Mapping[str, Any], *, now: datetime) -> bytes:
    """Return a sheet as PDF, dated `now`.

    Parameters
    ----------
    template
        Its path under `templates/`, "school/build_sheet.typ" say.
    data
        What the template shows: texts, numbers, lists and SVG texts.
    now
        The date in the file; the same moment gives the same bytes.
    """
    folder = settings.BASE_DIR / "templates"
    compiler = typst.Compiler(
        folder / template,
        root=folder,
        font_paths=_fonts(),
        sys_inputs={"data": json.dumps(data)},
    )
    # A PDF's dates know no parts of a second.
    dated = now.astimezone(UTC).replace(microsecond=0)
    made = compiler.compile(format="pdf", timestamp=dated)
    if not isinstance(made, bytes):
        raise TypeError(f"{template} made no single PDF")
    return made


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False)


def qr_code(address: str) -> str:
    """Return an address as a QR code in SVG, for a phone held over paper.

    Error correction M (15 % of the code may be lost to mud) and the quiet zone
    of four modules are those of ISO/IEC 18004.
    """
    code = segno.make(address, error="m", micro=False)
    out = BytesIO()
    code.save(out, kind="svg", border=4, xmldecl=False, omitsize=True, light="white")
    return out.getvalue().decode()
