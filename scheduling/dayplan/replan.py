"""A day that has begun, or is published, as a day file of what is left to choose.

What is over, running or frozen is fixed where it is; what stands now is what stands;
nobody resets anything before now. Lessons still free count as booked where they are
at present, so that moving them costs what the school says it does, and a new plan
moves one only where that is worth it.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from threading import Event
from typing import Any

from scheduling.dayplan.clashes import Why, clashes
from scheduling.dayplan.day import Day, clock, minutes_at
from scheduling.dayplan.document import read_day
from scheduling.dayplan.order import Progress, order_day
from scheduling.dayplan.settled import Known, Settled, Slot

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class SoFar:
    """How far a day has come.

    Parameters
    ----------
    plan
        The plan file that is being followed.
    made_from
        The day file that plan was made from.
    now_min
        Minutes of the day, or None where the day has not begun.
    freeze_min
        Lessons that start within so many minutes stay as they are.
    standing
        What stands on each line now, by line id; what is not named stands as the day
        file says.
    done
        Resets (line id, lesson id) that are done or under way: their rows stay.
    busy_until_min
        Until when a reset under way keeps the crew, or None.
    keep
        Lessons that stay where they are, whatever it would gain.
    """

    plan: Mapping[str, Any]
    made_from: Mapping[str, Any]
    now_min: int | None = None
    freeze_min: int = 0
    standing: Mapping[str, list[Data]] = field(default_factory=dict)
    done: Collection[tuple[str, str]] = ()
    busy_until_min: int | None = None
    keep: Collection[str] = ()

    @property
    def frozen_until_min(self) -> int:
        """Lessons that start before this stay as they are [min of the day]."""
        return 0 if self.now_min is None else self.now_min + self.freeze_min


def rest_of_day(document: Mapping[str, Any], so_far: SoFar) -> Data:
    """Return the day file of what is left of a day.

    Parameters
    ----------
    document
        The whole day as it is now, every lesson booked where it is at present.
    so_far
        How far it has come.
    """
    rest = dict(document)
    rest["lessons"] = [_left(one, so_far) for one in document["lessons"]]
    rest["arenas"] = [
        {
            **arena,
            "lines": [
                {**line, "standing": so_far.standing[line["id"]]}
                if line["id"] in so_far.standing
                else line
                for line in arena["lines"]
            ],
        }
        for arena in document["arenas"]
    ]
    if so_far.now_min is not None:
        day = read_day(document)
        begins = max(day.crew_from_min, so_far.now_min, so_far.busy_until_min or 0)
        rest["crew_from"] = clock(min(begins, day.crew_to_min))
        rest["crew_to"] = clock(day.crew_to_min)
    return rest


def _left(lesson: Data, so_far: SoFar) -> Data:
    """Return a lesson as it may still be chosen."""
    booked = lesson.get("booked")
    if booked is None:
        return lesson
    start, now = minutes_at(booked["start"]), so_far.now_min
    planned = next((x for x in so_far.plan["lessons"] if x["id"] == lesson["id"]), None)
    here = {
        **lesson,
        "not_before": booked["start"],
        "not_after": booked["start"],
        "arenas": [booked["arena"]],
    }
    if now is not None and start <= now:
        # Its row stands, or has been taken down; what it leaves is what stands.
        return {**here, "grid": None, "needs_clear": False}
    built = planned is not None and (planned["line"], lesson["id"]) in so_far.done
    if start < so_far.frozen_until_min or built or lesson["id"] in so_far.keep:
        place = None if planned is None else _place(so_far, lesson, planned)
        return here if place is None else {**here, "place": place}
    if now is None:
        return lesson
    first = max(minutes_at(lesson["not_before"]), so_far.frozen_until_min)
    return {**lesson, "not_before": clock(min(first, start))}


def _place(so_far: SoFar, lesson: Data, planned: Mapping[str, Any]) -> Data | None:
    """Return the place a row keeps; None where it has none, or is another row now."""
    lessons = {x["id"]: x for x in so_far.made_from["lessons"]}
    was: Mapping[str, Any] = lessons.get(lesson["id"], {})
    if planned["line"] is None or lesson.get("grid") != was.get("grid"):
        return None
    if planned["arena"] != lesson["booked"]["arena"]:
        return None
    return {key: planned[key] for key in ("line", "offset_cm", "mirrored")}


def new_plan(
    rest: Data,
    so_far: SoFar,
    *,
    seconds: float,
    on_progress: Progress | None = None,
    stop: Event | None = None,
) -> Data:
    """Return the plan of what is left of a day, beginning at the plan there is.

    Where no plan is found in time, everything stays where it is if that is possible.

    Parameters
    ----------
    rest
        The day file of what is left.
    so_far
        How far the day has come.
    seconds, on_progress, stop
        As in `order_day`.
    """
    plan = order_day(
        rest,
        seconds=seconds,
        start_from=so_far.plan,
        on_progress=on_progress,
        stop=stop,
    )
    if any(one["rule"] == "time" for one in plan["broken"]):
        kept = order_day(rest, seconds=seconds, as_booked=True)
        if kept["status"] != "impossible":
            # Of keeping everything it may be proved that it costs least; of the day
            # nothing is.
            return {**kept, "status": "stopped", "bound_s": 0}
    return plan


def whole_plan(so_far: SoFar, rest: Mapping[str, Any]) -> Data:
    """Return the plan of the whole day: what was done of the old, then the new.

    Parameters
    ----------
    so_far
        How far the day has come.
    rest
        The plan file of what was left.
    """
    old = {one["id"]: one for one in so_far.plan["lessons"]}
    lessons, last = [], dict[str, str]()
    for one in rest["lessons"]:
        was = old.get(one["id"])
        over = so_far.now_min is not None and minutes_at(one["start"]) <= so_far.now_min
        if over and was is not None and was["line"] is not None:
            one = {**one, **{k: was[k] for k in ("line", "offset_cm", "mirrored")}}
        lessons.append(one)
    kept = [one for one in so_far.plan["resets"] if _kept(so_far, one)]
    for one in sorted(lessons, key=lambda x: minutes_at(x["start"])):
        over = so_far.now_min is not None and minutes_at(one["start"]) <= so_far.now_min
        if over and one["line"] is not None:
            last[one["line"]] = one["id"]
    resets = [
        {**one, "after": one["after"] or last.get(one["line"])}
        for one in rest["resets"]
    ]
    done_s = sum(one["seconds"] for one in kept)
    booked_s = rest["as_booked_reset_s"]
    booked = (
        {}
        if booked_s is None
        else {
            "as_booked_resets": [*map(_without_moves, kept), *rest["as_booked_resets"]]
        }
    )
    return {
        **rest,
        "lessons": lessons,
        "resets": sorted([*kept, *resets], key=lambda one: minutes_at(one["from"])),
        "reset_s": rest["reset_s"] + done_s,
        "objective_s": rest["objective_s"] + done_s,
        "bound_s": rest["bound_s"] + done_s,
        "as_booked_reset_s": None if booked_s is None else booked_s + done_s,
        **booked,
    }


def _without_moves(reset: Mapping[str, Any]) -> Data:
    return {key: value for key, value in reset.items() if key != "moves"}


def _kept(so_far: SoFar, reset: Mapping[str, Any]) -> bool:
    """Say whether a reset of the old plan is done, under way, or gone by."""
    if (reset["line"], reset["for"]) in so_far.done:
        return True
    now = so_far.now_min
    starts = {one["id"]: minutes_at(one["start"]) for one in so_far.plan["lessons"]}
    return now is not None and starts.get(reset["for"], now + 1) <= now


@dataclass(frozen=True, slots=True)
class Gain:
    """What moving one lesson gains, the others being where the new plan has them.

    Parameters
    ----------
    lesson
        Its id.
    was, now
        Start [min of the day] and arena id, at present and in the new plan.
    gain_s
        Seconds of reset the day needs more with this lesson back where it is at
        present; None where it can't be there any more.
    why, lessons
        What stands in its way there, and the lessons it clashes with.
    at_least
        The engine would have to be asked; it is at least so much.
    """

    lesson: str
    was: tuple[int, str]
    now: tuple[int, str]
    gain_s: int | None
    why: Why | None = None
    lessons: tuple[str, ...] = ()
    at_least: bool = False


def gains_of(document: Mapping[str, Any], plan: Mapping[str, Any]) -> tuple[Gain, ...]:
    """Return what each move of a plan gains, by the lesson's new start.

    Parameters
    ----------
    document
        The day file the plan was made from, with lessons booked where they are.
    plan
        A plan file of it.
    """
    day = read_day(document)
    number = {arena.id: n for n, arena in enumerate(day.arenas)}
    rows = {one["id"]: one for one in plan["lessons"]}
    slots: dict[int, Slot] = {}
    for n, one in enumerate(day.lessons):
        row = rows[one.id]
        slots[n] = (minutes_at(row["start"]), number[row["arena"]])
    settled = Settled(day)
    found = []
    for n, one in enumerate(day.lessons):
        if one.booked is None:
            continue
        back = (one.booked.start_min, number[one.booked.arena])
        if back != slots[n]:
            found.append(_gain(day, settled, slots, n, back))
    return tuple(sorted(found, key=lambda one: (one.now, one.lesson)))


def _gain(
    day: Day, settled: Settled, slots: dict[int, Slot], lesson: int, back: Slot
) -> Gain:
    as_planned = settled.settle(slots).reset_s
    name = day.lessons[lesson].id
    was = (back[0], day.arenas[back[1]].id)
    now = (slots[lesson][0], day.arenas[slots[lesson][1]].id)
    there = slots | {lesson: back}
    clash = clashes(day, lesson, there)
    if clash is not None:
        return Gain(name, was, now, None, *clash)
    found = settled.settle(there)
    if found.known is Known.IMPOSSIBLE:
        return Gain(name, was, now, None, Why.RESETS)
    more = found.reset_s - as_planned
    return Gain(name, was, now, more, at_least=found.known is Known.ASK)
