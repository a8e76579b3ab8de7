"""Which slots of a day clash, and the day as booked.

A slot is a start and an arena. Clashes are those of lessons with each other; whether
resets find their minutes is asked elsewhere (`settled`).
"""

from enum import StrEnum

from scheduling.dayplan.day import Day
from scheduling.dayplan.settled import Slot, Slots

Clash = tuple["Why", tuple[str, ...]]
"""What stands in the way, and the lessons it clashes with."""


class Why(StrEnum):
    """What stands in the way of a slot."""

    ARENA = "arena"
    PERSON = "person"
    HORSE = "horse"
    RESETS = "resets"


def booked_slots(day: Day) -> dict[int, Slot] | None:
    """Return the slots of a day as booked; None if one lesson can't keep its own."""
    number = {arena.id: n for n, arena in enumerate(day.arenas)}
    slots: dict[int, Slot] = {}
    for n, one in enumerate(day.lessons):
        at = one.booked
        if (
            at is None
            or at.start_min not in day.starts(one)
            or at.arena not in one.arenas
        ):
            return None
        slots[n] = (at.start_min, number[at.arena])
    if any(clashes(day, n, slots) or over_limits(day, n) for n in slots):
        return None
    return slots


def clashes(day: Day, lesson: int, slots: Slots) -> Clash | None:
    """Return what stands in the way of a lesson in its slot, and whose it is."""
    one, (start, arena) = day.lessons[lesson], slots[lesson]
    end, people, horses = start + one.minutes, set(one.people), set(one.horses)
    for n, (other_start, other_arena) in slots.items():
        if n == lesson:
            continue
        other = day.lessons[n]
        other_end = other_start + other.minutes
        apart = max(other_start - end, start - other_end)
        if apart < 0 and arena == other_arena:
            return Why.ARENA, (other.id,)
        if apart < 0 and not people.isdisjoint(other.people):
            return Why.PERSON, (other.id,)
        if any(
            apart < day.horses[horse].rest_min
            for horse in other.horses
            if horse in horses
        ):
            return Why.HORSE, (other.id,)
    return None


def over_limits(day: Day, lesson: int) -> Clash | None:
    """Say whether a horse of a lesson has more to do than its day allows."""
    for name in day.lessons[lesson].horses:
        horse = day.horses[name]
        its = [one for one in day.lessons if name in one.horses]
        minutes = sum(one.minutes for one in its)
        most = horse.max_lessons
        if (most is not None and len(its) > most) or (
            horse.max_minutes is not None and minutes > horse.max_minutes
        ):
            others = (one.id for one in its if one is not day.lessons[lesson])
            return Why.HORSE, tuple(others)
    return None
