"""The judge: recomputes a plan from the day and names every rule it breaks.

It shares no code with the engines; every plan passes it before it leaves.
"""

from collections.abc import Iterator
from typing import Any

from scheduling.changeover.setups import GridRow
from scheduling.dayplan.check_resets import check_resets
from scheduling.dayplan.check_rules import Broken, Held, at_minutes
from scheduling.dayplan.day import Day, clock

__all__ = ["Broken", "check_plan"]


def check_plan(day: Day, plan: dict[str, Any]) -> list[Broken]:
    """Return every hard rule a plan breaks, and wrong sums; empty if none.

    Parameters
    ----------
    day
        As read.
    plan
        A plan file, whatever its status says.
    """
    ids = [one["id"] for one in plan["lessons"]]
    if sorted(ids) != sorted(one.id for one in day.lessons):
        return [Broken("lessons", (), "Not every lesson is planned exactly once.")]
    held = [
        Held(lesson, row, at_minutes(row["start"]))
        for lesson in day.lessons
        for row in plan["lessons"]
        if row["id"] == lesson.id
    ]
    broken = [*_windows(day, held), *_places(day, held), *_clashes(day, held)]
    broken += _horse_days(day)
    broken += check_resets(day, held, plan["resets"])
    broken += _sums(day, held, plan)
    return broken


def _windows(day: Day, held: list[Held]) -> Iterator[Broken]:
    for one in held:
        lesson, start = one.lesson, one.start
        who = (lesson.id,)
        if not lesson.not_before_min <= start <= lesson.not_after_min:
            yield Broken(
                "window",
                who,
                f"{lesson.id} starts at {clock(start)}, but may only start from "
                f"{clock(lesson.not_before_min)} to {clock(lesson.not_after_min)}.",
            )
        if not lesson.fixed and start % day.start_every_min:
            yield Broken(
                "raster",
                who,
                f"{lesson.id} starts at {clock(start)}, not on a step of "
                f"{day.start_every_min} minutes.",
            )
        if start < day.opens_min or one.end > day.closes_min:
            yield Broken(
                "opening hours",
                who,
                f"{lesson.id} runs from {clock(start)} to {clock(one.end)}, outside "
                f"{clock(day.opens_min)} to {clock(day.closes_min)}.",
            )
        if one.arena not in lesson.arenas:
            yield Broken("arena", who, f"{lesson.id} may not be in {one.arena}.")


def _places(day: Day, held: list[Held]) -> Iterator[Broken]:
    lengths = {(a.id, x.id): x.length_cm for a in day.arenas for x in a.lines}
    for one in held:
        lesson, row = one.lesson, one.row
        who = (lesson.id,)
        if (lesson.grid is None) != (row["line"] is None):
            yield Broken("line", who, f"{lesson.id} has a grid or a line, not both.")
            continue
        if lesson.grid is None:
            continue
        length = lengths.get((one.arena, row["line"]))
        if length is None:
            yield Broken(
                "line", who, f"{one.arena} has no line {row['line']} for {lesson.id}."
            )
            continue
        kept = lesson.place
        if kept is not None and (
            kept.line,
            kept.place.offset_cm,
            kept.place.mirrored,
        ) != (
            row["line"],
            row["offset_cm"],
            row["mirrored"],
        ):
            yield Broken(
                "fixed place",
                who,
                f"The row of {lesson.id} must stay on line {kept.line} at "
                f"{kept.place.offset_cm / 100:.2f} m.",
            )
        if row["mirrored"] and not lesson.grid.may_mirror:
            yield Broken("mirrored", who, f"{lesson.id} may not be built mirrored.")
        if row["offset_cm"] % day.place_every_cm:
            yield Broken(
                "place", who, f"{lesson.id} lies off the raster of places on its line."
            )
        if not _keeps_its_room(lesson.grid, row, length):
            yield Broken(
                "row fits",
                who,
                f"The row of {lesson.id} does not keep its approach and run-out on "
                f"line {row['line']} of {one.arena} ({length / 100:.2f} m).",
            )


def _keeps_its_room(grid: GridRow, row: dict[str, Any], length_cm: int) -> bool:
    feet = [foot for e in (*grid.start, *grid.end) for foot in (e.at_cm, e.landing_cm)]
    room = max(e.landing_cm for e in grid.start)
    if row["mirrored"]:
        # Ridden from the far end: its first foot is the one farthest away.
        first = length_cm - (row["offset_cm"] + room - min(feet))
        last = row["offset_cm"] + room - max(feet)
    else:
        first = row["offset_cm"] + min(feet)
        last = length_cm - (row["offset_cm"] + max(feet))
    return bool(first >= grid.approach_cm and last >= grid.runout_cm)


def _clashes(day: Day, held: list[Held]) -> Iterator[Broken]:
    for n, one in enumerate(held):
        for other in held[:n]:
            both = (other.lesson.id, one.lesson.id)
            early, late = sorted((one, other), key=lambda x: (x.start, x.end))
            gap = late.start - early.end
            if one.arena == other.arena and gap < 0:
                yield Broken(
                    "one lesson an arena",
                    both,
                    f"{both[0]} and {both[1]} are both in {one.arena} "
                    f"at {clock(late.start)}.",
                )
            for person in set(one.lesson.people) & set(other.lesson.people):
                if gap < 0:
                    yield Broken(
                        "one place a person",
                        both,
                        f"{person} is in {both[0]} and {both[1]} "
                        f"at {clock(late.start)}.",
                    )
            for horse in set(one.lesson.horses) & set(other.lesson.horses):
                rest = day.horses[horse].rest_min
                if gap < rest:
                    yield Broken(
                        "horse's rest",
                        both,
                        f"{horse} needs {rest} minutes between {early.lesson.id} and "
                        f"{late.lesson.id}, and has {max(gap, 0)}.",
                    )


def _horse_days(day: Day) -> Iterator[Broken]:
    for horse in day.horses.values():
        its = [one for one in day.lessons if horse.id in one.horses]
        who = tuple(one.id for one in its)
        minutes = sum(one.minutes for one in its)
        if horse.max_lessons is not None and len(its) > horse.max_lessons:
            yield Broken(
                "horse's lessons",
                who,
                f"{horse.id} has {len(its)} lessons and may have {horse.max_lessons}.",
            )
        if horse.max_minutes is not None and minutes > horse.max_minutes:
            yield Broken(
                "horse's minutes",
                who,
                f"{horse.id} works {minutes} minutes and may work {horse.max_minutes}.",
            )


def _sums(day: Day, held: list[Held], plan: dict[str, Any]) -> Iterator[Broken]:
    resets = sum(one["seconds"] for one in plan["resets"])
    moved = sum(
        day.moved_start_s * (one.start != one.lesson.booked.start_min)
        + day.moved_arena_s * (one.arena != one.lesson.booked.arena)
        for one in held
        if one.lesson.booked is not None
    )
    if plan["reset_s"] != resets:
        yield Broken("sum", (), f"The resets sum to {resets} s, not {plan['reset_s']}.")
    if plan["status"] != "impossible" and plan["objective_s"] != resets + moved:
        yield Broken(
            "sum",
            (),
            f"The objective is {resets + moved} s, not {plan['objective_s']}.",
        )
    if plan["bound_s"] > plan["objective_s"]:
        yield Broken("bound", (), "The bound lies above the objective.")
