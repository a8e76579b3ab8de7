"""A calendar address as a reader's program takes it: copied, tapped or photographed."""

from typing import Any
from urllib.parse import quote

from django.utils.safestring import mark_safe

from school.sheets.typeset import qr_code

ON_THE_WEB = "https://calendar.google.com/calendar/r?cid="


def address_context(url: str) -> dict[str, Any]:
    """Return an address with its one-tap links and its code.

    `webcal:` opens the program that subscribes; one service on the web takes the
    address as a parameter instead.
    """
    tap = "webcal:" + url.partition(":")[2]
    return {
        "url": url,
        "tap": tap,
        "on_the_web": f"{ON_THE_WEB}{quote(tap, safe='')}",
        # Made of modules alone; the address is drawn, not written, in it.
        "code": mark_safe(qr_code(url)),  # noqa: S308
    }
