"""Changeovers as walks, as stretches of work, as lists are compared, and in words."""

import json
from zoneinfo import ZoneInfo

from exercises.geometry.units import Units
from scheduling.changeover.alike import Listed
from scheduling.changeover.loads import Crew, Ground
from scheduling.changeover.sideways import Shift
from scheduling.changeover.stopwatch import Stretch, Tick, stretches
from scheduling.changeover.walking import Walk, walk
from scheduling.changeover.work import Step
from scheduling.dayplan.document import placed_from_data
from scheduling.models import Changeover, ChangeoverMove
from scheduling.queries.carrying import Carrying
from scheduling.wording import short_words, yard_words
from school.models import Line, YardWork

NOBODY = "nobody has hours then"


def walk_of(
    changeover: Changeover, carrying: Carrying
) -> tuple[Walk, Crew, list[ChangeoverMove]]:
    """Return a changeover as a walk, who walks it, and its moves in that order.

    Nobody named counts as one person alone.
    """
    moves = sorted(changeover.moves.all(), key=lambda move: move.position)
    who = changeover.who
    people = (
        1 if who is None or who.alone_on(changeover.plan.date) else 1 + carrying.helpers
    )
    crew = Crew(people, carrying.carries_kg * 1000, carrying.weights_g)
    found = walk([_step(move) for move in moves], ground_of(changeover.line), crew)
    return found, crew, [moves[n] for n in found.order]


def purpose_words(one: Changeover, zone: ZoneInfo) -> str:
    """Say what a changeover is for, and when that is."""
    if one.lesson is not None:
        words = f"for {one.title} at {one.lesson.starts_at.astimezone(zone):%H:%M}"
        return f"{words}, morning build" if is_morning(one, zone) else words
    if one.before_work is not None:
        at = one.before_work.starts_at.astimezone(zone)
        return f"before {one.title} at {at:%H:%M}: poles off first"
    return "evening strip: all into the store"


def who_words(one: Changeover | YardWork, zone: ZoneInfo) -> str:
    """Say who does it; where it lies outside their hours, or anybody's, say so.

    Empty for what is done and was nobody's.
    """
    who = one.who
    if who is None:
        return "" if one.done_at else NOBODY
    begins, ends = (at.astimezone(zone).time() for at in (one.starts_at, one.ends_at))
    name = who.person.first_name
    if who.works_from <= begins and ends <= who.works_to:
        return name
    hours = f"{who.works_from:%H:%M} to {who.works_to:%H:%M}"
    return f"{name}, outside their hours ({hours})"


def is_morning(one: Changeover, zone: ZoneInfo) -> bool:
    """Say whether a changeover is made before its arena opens."""
    begins = one.starts_at.astimezone(zone).time()
    return one.after_lesson_id is None and begins < one.line.arena.opens_at


def ground_of(line: Line) -> Ground:
    """Return where the store lies as seen from a line; as usual where nobody said.

    A line lies in the middle of its arena's length, since nothing says otherwise.
    """
    arena = line.arena
    if arena.store_along_cm is None or arena.store_across_cm is None:
        return Ground()
    begins = max(0, (arena.length_cm - line.length_cm) // 2)
    aside = abs(arena.store_across_cm - line.from_long_side_cm)
    return Ground(arena.store_along_cm - begins, aside)


def shift_of(work: YardWork) -> Shift | None:
    """Return where work of the ground moves a line; None where it is no such move."""
    if work.line is None or work.to_cm is None:
        return None
    stands = tuple(placed_from_data(one) for one in work.stands)
    return Shift(work.line.from_long_side_cm, work.to_cm, stands)


def work_words(work: YardWork, units: Units, harrow_min: int) -> str:
    """Say what work of the ground asks for; a harrow also that it has too few minutes.

    `harrow_min` is how long one takes here.
    """
    shift = shift_of(work)
    minutes = int((work.ends_at - work.starts_at).total_seconds() // 60)
    short = short_words(minutes, harrow_min) if shift is None else ""
    return f"{yard_words(shift, units)} {short}".rstrip()


def stretches_of(changeover: Changeover) -> tuple[Stretch, ...]:
    """Return what a finished changeover tells of the time its work takes.

    Ticks from before it was started, or after it was done, count at these.
    """
    if changeover.started_at is None or changeover.done_at is None:
        return ()
    done_s = (changeover.done_at - changeover.started_at).total_seconds()
    ticks = []
    for move in changeover.moves.all():
        at_s = done_s
        if move.ticked_at is not None:
            at_s = (move.ticked_at - changeover.started_at).total_seconds()
        ticks.append(Tick(_step(move), min(max(at_s, 0.0), done_s)))
    who = changeover.who
    return stretches(
        ticks,
        done_s,
        str(who) if who else "",
        pair=who is not None and not who.alone_on(changeover.plan.date),
    )


def listed(changeover: Changeover) -> Listed:
    """Return a changeover as lists are compared by."""
    return Listed(
        gap=changeover.uid,
        work=changeover.work,
        steps=tuple(step_key(one) for one in changeover.moves.all()),
        starts_at=changeover.starts_at,
        ends_at=changeover.ends_at,
        who=str(changeover.who) if changeover.who else "",
    )


def step_key(move: ChangeoverMove) -> str:
    """Return what is equal where two moves ask for the same."""
    return json.dumps([move.do, move.was, move.now], sort_keys=True)


def _step(move: ChangeoverMove) -> Step:
    return (
        placed_from_data(move.was) if move.was else None,
        placed_from_data(move.now) if move.now else None,
    )
