"""Texts with names in braces, filled in without running anything."""

import re
from collections.abc import Collection, Mapping

from school.calendars.components import one_line

_FIELD = re.compile(r"\{([a-z_]+)\}")


class InvalidText(ValueError):
    """A text that can't be sent, and what to do about it."""

    def __init__(self, says: str, line: int) -> None:
        super().__init__(says)
        self.says = says
        self.line = line


def check_text(text: str, allowed: Collection[str]) -> None:
    """Refuse a text with unknown names or lonely braces, with the line's number.

    Raises
    ------
    InvalidText
        Naming the first line that is wrong.
    """
    for number, line in enumerate(text.splitlines(), start=1):
        for name in _FIELD.findall(line):
            if name not in allowed:
                raise InvalidText(
                    f"Line {number} has {{{name}}}, which is not known here. Choose "
                    "one of the names listed beside the text.",
                    number,
                )
        rest = _FIELD.sub("", line)
        if "{" in rest or "}" in rest:
            raise InvalidText(
                f"Line {number} has a brace that belongs to no name. Write a name as "
                "{day}, and no other braces.",
                number,
            )


def fill(text: str, values: Mapping[str, str]) -> str:
    """Put the values in; a line all of whose names are empty is left out.

    A value is one line and is never looked through for names itself.
    """
    kept: list[str] = []
    for line in text.splitlines():
        names = _FIELD.findall(line)
        if names and not any(values.get(name) for name in names):
            continue
        filled = _FIELD.sub(lambda m: one_line(values.get(m[1], "")), line).rstrip()
        if filled or (kept and kept[-1]):
            kept.append(filled)
    return "\n".join(kept).strip()
