"""When something was pressed, by a clock that may be wrong.

A phone without signal says later what was pressed, by its own clock, and what that
clock shows when it sends. The time between the two is right though both are wrong.
Where the clock was set in between it is not; a count that only runs forward, as
long as the page stayed open, then says at least how long ago it was.
"""

from datetime import datetime, timedelta

LONGEST = timedelta(days=14)
"""Nobody's phone stays without signal for longer."""


def pressed_at(
    *,
    said: datetime,
    sent: datetime,
    received: datetime,
    age: timedelta | None = None,
) -> datetime:
    """Return the moment of a press by the receiver's clock.

    Parameters
    ----------
    said
        What the phone's clock showed when the button was pressed.
    sent
        What it showed when it was sent.
    received
        What the receiver's clock showed then.
    age
        How long before it was sent by a count that only runs forward, which may
        stand still while the phone sleeps; None where the page was opened anew.

    Notes
    -----
    Never later than it was received, and never more than `LONGEST` before.
    """
    ago = max(sent - said, timedelta(0) if age is None else age)
    return received - min(max(ago, timedelta(0)), LONGEST)


def in_order(moments: list[datetime]) -> list[datetime]:
    """Return moments of one phone so that none is before the one pressed before it."""
    ordered: list[datetime] = []
    for one in moments:
        ordered.append(max(one, ordered[-1]) if ordered else one)
    return ordered
