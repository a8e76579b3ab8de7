"""Independent readers of calendar text: vobject, and dateutil through it."""

from datetime import UTC, datetime
from typing import Any

import vobject


def events(body: bytes) -> list[Any]:
    """Return the VEVENTs as vobject reads them, after its own validation."""
    calendar = vobject.readOne(body.decode())
    calendar.validate(raiseException=True)
    return list(calendar.contents.get("vevent", []))


def starts(body: bytes) -> list[datetime]:
    """Return every start as vobject reads it, in UTC."""
    return [one.dtstart.value.astimezone(UTC) for one in events(body)]
