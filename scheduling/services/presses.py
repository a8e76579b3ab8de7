"""Taking what was pressed on the reset list: in order, once, and nothing lost.

A phone without signal keeps what is pressed and sends it later, perhaps twice,
perhaps when the day has been ordered anew or the lesson was cancelled. Each press is
answered with what became of it. What can't be done any more is kept with its reason,
where the manager and the instructor see it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from scheduling.changeover.alike import same_steps, same_work
from scheduling.convert.changeovers import listed, step_key
from scheduling.models import Changeover, ChangeoverMove, DayPlan, Press
from scheduling.queries.arenas import ridden_at
from scheduling.queries.changeovers import (
    changeover_even_cancelled,
    changeovers_of_plan,
)
from scheduling.queries.plans import published_plan
from scheduling.services.changeovers import (
    UnableToReset,
    build_stands,
    finish_changeover,
    name_of,
    report_trouble,
    start_changeover,
    tick_move,
)
from scheduling.services.photos import keep_photo
from scheduling.wording import move_words
from school.convert import units_of
from school.models import Account, Lesson, YardWork
from school.queries.schools import the_school
from school.queries.yard import yard_work_with_all
from school.services.yard_done import (
    UnableToWork,
    finish_work,
    report_work_trouble,
    start_work,
    trouble_words,
)

Does = Press.Does
Outcome = Press.Outcome


@dataclass(frozen=True, slots=True)
class Sent:
    """A press as it was sent.

    `changeover` and `move` are as they were on the list it was pressed on; work of
    the ground is named by `work` instead.
    """

    uid: UUID
    phone: UUID | None
    number: int
    does: str
    pressed_at: datetime
    changeover: int | None = None
    work: int | None = None
    move: int | None = None
    what: str = ""
    says: str = ""
    photo: bytes = b""


@dataclass(frozen=True, slots=True)
class _Became:
    """What a press came to."""

    outcome: str
    says: str = ""


def take_presses(
    *, sent: Sequence[Sent], by: Account | None, now: datetime
) -> list[Press]:
    """Take presses one after the other, in the order of their phone.

    Each is taken for itself: one that can't be done holds up no other.
    """
    ordered = sorted(sent, key=lambda one: one.number)
    return [take_press(sent=one, by=by, now=now) for one in ordered]


def take_press(*, sent: Sent, by: Account | None, now: datetime) -> Press:
    """Take a press once, and say what became of it.

    Raises
    ------
    UnableToReset
        Only where it says nothing that could be kept: an unknown list, a trouble
        without a word, a photo that is none.
    """
    try:
        with transaction.atomic():
            known = Press.objects.filter(uid=sent.uid).first()
            return known or _take(sent, by, now)
    except IntegrityError:
        # The same was sent twice at once; the other was quicker.
        known = Press.objects.filter(uid=sent.uid).first()
        if known is None:
            raise
        return known


def set_aside(*, sent: Sent, by: Account | None, now: datetime) -> Press:
    """Keep a press as a note without doing it, since doing it failed again and again.

    Twice is harmless. What was pressed after it can go on; the manager sees it.

    Raises
    ------
    UnableToReset
        Where the list it was pressed on is not known.
    """
    known = Press.objects.filter(uid=sent.uid).first()
    if known is not None:
        return known
    asked = Changeover.objects.filter(pk=sent.changeover or 0).first()
    work = YardWork.objects.filter(pk=sent.work or 0).first()
    if asked is None and work is None:
        raise UnableToReset("This list is not known here. Open the reset list again.")
    on: dict[str, Any] = {"work": work, "date": work.date} if work is not None else {}
    if asked is not None:
        on = {"changeover": asked, "date": asked.plan.date}
    says = (
        "It was sent several times and could not be taken here. It is kept as a note: "
        "look whether it is done, and say so on the list."
    )
    return _note(sent, _Became(Outcome.KEPT, says), by, now, did=_said(sent), **on)


def _take(sent: Sent, by: Account | None, now: datetime) -> Press:
    if sent.work is not None:
        return _take_of_work(sent, sent.work, by, now)
    asked = changeover_even_cancelled(sent.changeover or 0)
    if asked is None:
        raise UnableToReset("This list is not known here. Open the reset list again.")
    pressed_at = min(sent.pressed_at, now)
    one, move = _as_it_is_now(asked, sent.move)
    try:
        with transaction.atomic():
            if sent.does == Does.DONE:
                _check_same_steps(asked, one)
            became = _do(sent, one, move, by, pressed_at)
    except UnableToReset as refused:
        wordless = sent.does == Does.TROUBLE and not f"{sent.what}{sent.says}".strip()
        if wordless or sent.does == Does.PHOTO:
            raise
        says = f"{refused.says} It is kept as a note."
        if _was_built(sent, asked, one, pressed_at):
            build_stands(changeover=asked, by=by, now=pressed_at)
            says += " What was built is kept as what stands."
        became = _Became(Outcome.KEPT, says)
    return _note(
        sent,
        became,
        by,
        now,
        date=asked.plan.date,
        changeover=one,
        did=_words(sent, asked),
    )


def _note(
    sent: Sent, became: _Became, by: Account | None, now: datetime, **on: Any
) -> Press:
    """Note what was pressed, on what, and what it came to."""
    return Press.objects.create(
        uid=sent.uid,
        phone=sent.phone,
        number=sent.number,
        by=by,
        does=sent.does,
        pressed_at=min(sent.pressed_at, now),
        received_at=now,
        outcome=became.outcome,
        says=became.says,
        **on,
    )


def _take_of_work(sent: Sent, pk: int, by: Account | None, now: datetime) -> Press:
    """Take a press on work of the ground."""
    work = yard_work_with_all().filter(pk=pk).first()
    if work is None:
        raise UnableToReset("This work is not known here. Open the reset list again.")
    try:
        with transaction.atomic():
            became = _do_work(sent, work, by, min(sent.pressed_at, now))
    except UnableToWork as refused:
        if sent.does == Does.TROUBLE and not trouble_words(sent.what, sent.says):
            raise UnableToReset(refused.says) from refused
        became = _Became(Outcome.KEPT, f"{refused.says} It is kept as a note.")
    words = _said(sent)
    return _note(sent, became, by, now, date=work.date, work=work, did=words)


def _do_work(sent: Sent, work: YardWork, by: Account | None, at: datetime) -> _Became:
    if sent.does == Does.PHOTO:
        keep_photo(uid=sent.uid, data=sent.photo)
        return _Became(Outcome.TAKEN)
    if timezone.localtime(at).date() > work.date:
        raise UnableToWork(f"This list is for {_day(work.date)}, and that day is over.")
    match sent.does:
        case Does.START:
            start_work(work=work, by=by, now=at)
            if work.started_at is None:
                return _Became(Outcome.TAKEN, in_arena_words(work.arena_id, at))
            says = f"It was started at {_clock(work.started_at)} already."
            return _Became(Outcome.ALREADY, says)
        case Does.DONE:
            finish_work(work=work, by=by, now=at)
            if work.done_at is None:
                return _Became(Outcome.TAKEN)
            says = f"It was done at {_clock(work.done_at)} already."
            return _Became(Outcome.ALREADY, says)
        case Does.TROUBLE:
            after = report_work_trouble(
                work=work, what=sent.what, says=sent.says, by=by, now=at
            )
            told = after.note != work.note
            return _Became(Outcome.TAKEN if told else Outcome.ALREADY)
        case _:
            raise UnableToWork("This work has no steps to tick.")


def in_arena_words(arena: int, at: datetime) -> str:
    """Say that an arena is being ridden in; nothing where it is free."""
    lesson = ridden_at(arena, at)
    return "" if lesson is None else booked_words(lesson)


def _was_built(sent: Sent, asked: Changeover, one: Changeover, at: datetime) -> bool:
    """Say whether a Done that came too late tells what was built on its own day."""
    return (
        sent.does == Does.DONE
        and one.done_at is None
        and timezone.localtime(at).date() <= asked.plan.date
    )


def _as_it_is_now(
    asked: Changeover, move: int | None
) -> tuple[Changeover, ChangeoverMove | None]:
    """Return a changeover and its step in the plan that is published now.

    Where the day was ordered anew, that is the same work and the same step, if it
    still is on the list; else as asked for.
    """
    steps = list(asked.moves.all())
    at = next((n for n, one in enumerate(steps) if one.pk == move), None)
    plan = published_plan(asked.plan.date)
    if asked.plan.state == DayPlan.State.PUBLISHED or plan is None:
        return asked, None if at is None else steps[at]
    old, new = changeovers_of_plan(asked.plan), changeovers_of_plan(plan)
    pairs = same_work([listed(one) for one in old], [listed(one) for one in new])
    place = pairs.get([one.pk for one in old].index(asked.pk))
    if place is None:
        return asked, None if at is None else steps[at]
    now = list(new[place].moves.all())
    kept = same_steps([step_key(m) for m in steps], [step_key(m) for m in now])
    return new[place], now[kept[at]] if at is not None and at in kept else None


def _do(
    sent: Sent,
    one: Changeover,
    move: ChangeoverMove | None,
    by: Account | None,
    at: datetime,
) -> _Became:
    if sent.does == Does.PHOTO:
        # What broke is broken, whatever became of the lesson.
        keep_photo(uid=sent.uid, data=sent.photo)
        return _Became(Outcome.TAKEN)
    if timezone.localtime(at).date() > one.plan.date:
        raise UnableToReset(
            f"This list is for {_day(one.plan.date)}, and that day is over."
        )
    match sent.does:
        case Does.START:
            return _start(one, by, at)
        case Does.DONE:
            return _finish(one, by, at)
        case Does.TICK | Does.UNTICK:
            return _tick(one, move, sent.does == Does.TICK, by, at)
        case _:
            before = one.note
            after = report_trouble(
                changeover=one, what=sent.what, says=sent.says, by=by, now=at
            )
            said = after.note == before
            return _Became(Outcome.ALREADY if said else Outcome.TAKEN)


def _check_same_steps(asked: Changeover, one: Changeover) -> None:
    """Refuse that all is done where the newest list asks for something else."""
    if [step_key(m) for m in asked.moves.all()] != [
        step_key(m) for m in one.moves.all()
    ]:
        raise UnableToReset(
            "The plan of the day was changed and asks for other steps here: look at "
            "the new list."
        )


def _start(one: Changeover, by: Account | None, at: datetime) -> _Became:
    if one.started_at is not None:
        start_changeover(changeover=one, by=by, now=at)
        return _Became(
            Outcome.ALREADY, f"It was started at {_clock(one.started_at)} already."
        )
    start_changeover(changeover=one, by=by, now=at)
    return _Became(Outcome.TAKEN, in_use_words(one, at))


def in_use_words(one: Changeover, at: datetime) -> str:
    """Say that an arena is being ridden in, unless it is the lesson's own warm-up."""
    lesson = ridden_at(one.line.arena_id, at)
    if lesson is None or at < ridden_in(one, lesson):
        return ""
    return booked_words(lesson)


def ridden_in(one: Changeover, lesson: Lesson) -> datetime:
    """Return from when a lesson keeps a changeover out of its arena."""
    own = lesson.pk == one.lesson_id
    return lesson.starts_at + timedelta(minutes=lesson.warm_up_min if own else 0)


def booked_words(lesson: Lesson) -> str:
    """Say whose the arena is, and what to mind."""
    return (
        f"{lesson.arena.name} is booked for {lesson.title} until "
        f"{_clock(lesson.ends_at)} ({lesson.instructor.person.first_name}). Go in only "
        "when the riders have left or stand still and the instructor says clear."
    )


def _finish(one: Changeover, by: Account | None, at: datetime) -> _Became:
    if one.done_at is not None:
        finish_changeover(changeover=one, by=by, now=at)
        return _Became(
            Outcome.ALREADY, f"It was done at {_clock(one.done_at)} already."
        )
    unstarted = one.started_at is None
    finish_changeover(changeover=one, by=by, now=at)
    says = "It was not started first, so its time is not counted." if unstarted else ""
    return _Became(Outcome.TAKEN, says)


def _tick(
    one: Changeover,
    move: ChangeoverMove | None,
    ticked: bool,
    by: Account | None,
    at: datetime,
) -> _Became:
    if move is None:
        raise UnableToReset(
            "The plan of the day was changed, and this step is no longer on the list."
        )
    if (move.ticked_at is not None) != ticked:
        tick_move(move=move, ticked=ticked, by=by, now=at)
        return _Became(Outcome.TAKEN)
    tick_move(move=move, ticked=ticked, by=by, now=at)
    if move.ticked_at is None:
        return _Became(Outcome.ALREADY)
    who = name_of(move.ticked_by)
    return _Became(Outcome.ALREADY, f"{who} ticked it at {_clock(move.ticked_at)}.")


def _words(sent: Sent, asked: Changeover) -> str:
    """Say what was pressed, on which list."""
    if sent.does in {Does.TICK, Does.UNTICK}:
        one = next((m for m in asked.moves.all() if m.pk == sent.move), None)
        if one is not None:
            move = {"do": one.do, "was": one.was, "now": one.now}
            words = move_words(move, asked.line.datum, units_of(the_school()))
            return f"{Does(sent.does).label}: {words}"
    return _said(sent)


def _said(sent: Sent) -> str:
    """Say what was pressed, and what was said with it."""
    label = Does(sent.does).label
    said = ": ".join(filter(None, [sent.what.strip(), sent.says.strip()]))
    return f"{label}: {said}" if said else label


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"


def _day(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"
