"""What something done on the board would break and cost, before it is done.

The very thing is done, in a transaction that is rolled back: what is said before
and what happens after can't differ. Nothing is written and no mail goes.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from exercises.geometry.fit import Fit
from exercises.geometry.store import Store
from scheduling.convert.days import day_document, fingerprint
from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.marginal import reset_as_booked
from scheduling.queries.days import day_rows
from scheduling.queries.plans import published_plan
from scheduling.services.tight import tight_at
from school.convert import grid_in_store, store_of
from school.enums import Answer, LessonState, MessageState, RideState
from school.models import Invitation, Lesson, LessonGrid, OutboxMessage, Ride
from school.queries.daylight import light_of, light_of_weeks
from school.queries.schools import school_zone, the_school
from school.queries.store import store_by_place
from school.services.booking import looked_at
from school.services.lesson_levels import level_notes
from school.services.papers import paper_notes
from school.services.refusals import UnableToBook, hour
from school.services.welfare import told_of_lesson, worse

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Mail:
    """A mail that would be written: to whom, and what it is about."""

    client: str
    about: str


@dataclass(frozen=True, slots=True)
class Foretold:
    """What would come of something.

    `broken` holds every rule it breaks, in words; where it is empty it can be done.
    `added_s` is None where the changeovers can't be reckoned. `untold` are clients
    without an address for mail; `overridable` are the rules of horses' work that refuse
    it, with figures, where a reason is all it needs.
    """

    broken: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    added_s: int | None = None
    mails: tuple[Mail, ...] = ()
    untold: tuple[str, ...] = ()
    changed_meanwhile: bool = False
    overridable: tuple[str, ...] = ()

    @property
    def added_min(self) -> int | None:
        """Added minutes, a begun one counted whole; below 0 it saves some."""
        return None if self.added_s is None else -(-self.added_s // 60)

    @property
    def saved_min(self) -> int:
        """Saved minutes, only whole ones counted."""
        return -(self.added_s or 0) // 60


@dataclass(slots=True)
class _Seen:
    """The database as it is at one moment of what is tried."""

    days: dict[date, Data]
    waiting: set[int]
    accepted: set[int]


def foretell(
    *,
    do: Callable[[], Lesson],
    dates: Iterable[date],
    now: datetime,
    lesson: Lesson | None = None,
    broken: Callable[[], list[str]] = list,
) -> Foretold:
    """Do something to a lesson, look what came of it, and take it back.

    Parameters
    ----------
    do
        The service with all it takes.
    dates
        The days it touches.
    lesson
        The lesson as it is, where there is one.
    broken
        Names every rule that is broken; asked where `do` refuses.
    """
    days = sorted(set(dates))
    try:
        with transaction.atomic():
            before = _look(days, lesson)
            was = [] if lesson is None else told_of_lesson(lesson)
            was_in = None if lesson is None else lesson.arena_id
            after_lesson = do()
            after = _look(days, after_lesson)
            mails, untold = _mails(before, after), _untold(after_lesson)
            warnings = _warnings(before, after, after_lesson, lesson, now)
            warnings += [x.says for x in worse(told_of_lesson(after_lesson), was)]
            if lesson is None:
                booked = _booked_with(after_lesson)
                warnings += [f"The grid: {one}" for one in looked_at(booked)]
            elif after_lesson.arena_id != was_in:
                warnings += _not_at_hand(after_lesson)
            transaction.set_rollback(True)
    except UnableToBook as error:
        if error.code == "changed-meanwhile":
            return Foretold(broken=(error.says,), changed_meanwhile=True)
        named = dict.fromkeys([error.says, *broken()])
        overridable = error.details if error.overridable else ()
        return Foretold(broken=tuple(named), overridable=overridable)
    # Outside the transaction: reckoning may take a second, and locks nothing.
    added, lost = _added(before.days, after.days)
    if lost:
        warnings.insert(0, lost)
    return Foretold(warnings=tuple(warnings), added_s=added, mails=mails, untold=untold)


def _look(days: Iterable[date], lesson: Lesson | None) -> _Seen:
    answered = Invitation.objects.filter(
        answer=Answer.ACCEPTED, lesson=None if lesson is None else lesson.pk
    ).exclude(lesson=None)
    return _Seen(
        days={one: day_document(day_rows(one)) for one in days},
        waiting=set(
            OutboxMessage.objects.filter(state=MessageState.WAITING).values_list(
                "pk", flat=True
            )
        ),
        accepted=set(answered.values_list("pk", flat=True)),
    )


def _mails(before: _Seen, after: _Seen) -> tuple[Mail, ...]:
    new = OutboxMessage.objects.filter(pk__in=after.waiting - before.waiting)
    return tuple(
        Mail(str(one.client.person), one.get_kind_display())
        for one in new.select_related("client__person").order_by("pk")
    )


def _untold(lesson: Lesson) -> tuple[str, ...]:
    rides = Ride.objects.filter(
        lesson=lesson, state=RideState.BOOKED, rider__client__person__email=""
    ).select_related("rider__client__person")
    return tuple(
        dict.fromkeys(str(one.rider.client.person) for one in rides.order_by("pk"))
    )


def _booked_with(lesson: Lesson) -> list[Lesson]:
    """Return all the days of a weekly lesson that is new, or a single one."""
    if lesson.series is None:
        return [lesson]
    return list(lesson.series.lessons.select_related("arena").order_by("starts_at"))


def _light(lesson: Lesson, *, new: bool) -> list[str]:
    """Warn of the last light; of a weekly lesson that is new, of all its days."""
    school = the_school()
    if new:
        says = light_of_weeks(_booked_with(lesson), school)
    else:
        says = light_of(lesson, school)
    return [says] if says else []


def _warnings(
    before: _Seen, after: _Seen, lesson: Lesson, was: Lesson | None, now: datetime
) -> list[str]:
    said = []
    if lesson.starts_at < now:
        said.append(f"{hour(lesson.starts_at)} has gone by.")
    lost = Invitation.objects.filter(pk__in=before.accepted - after.accepted)
    names = [
        one.client.person.first_name
        for one in lost.select_related("client__person").order_by("pk")
    ]
    if names and lesson.state != LessonState.CANCELLED:
        said.append(f"{_and(names)} had accepted, and will be asked again.")
    said += _light(lesson, new=lesson.series_id is not None and was is None)
    said += tight_at(lesson)
    said += _unfitted(lesson)
    said += level_notes(lesson)
    said += paper_notes(lesson)
    changed = [one for one in after.days if _differ(before.days[one], after.days[one])]
    if any(published_plan(one) is not None for one in changed):
        said.append(
            "The published reset list was made for the day as it was. Order the day "
            "anew afterwards."
        )
    return said


def _differ(one: Data, other: Data) -> bool:
    return fingerprint(one) != fingerprint(other)


def _unfitted(lesson: Lesson) -> list[str]:
    grid = LessonGrid.objects.filter(lesson=lesson).first()
    if grid is None:
        return []
    rides = Ride.objects.filter(
        lesson=lesson, state=RideState.BOOKED, horse__isnull=False
    )
    horses = set(rides.values_list("horse__name", flat=True))
    says = unfitted_words(grid, horses)
    return [says] if says else []


def unfitted_words(grid: LessonGrid, horses: set[str]) -> str:
    """Say that a grid was fitted to other horses than go; empty where it was not."""
    fitted = {
        one["horse"] for gap in grid.fitted.get("gaps", []) for one in gap["horses"]
    }
    if not fitted or fitted == horses:
        return ""
    return (
        f"The grid was fitted to {_and(sorted(fitted))}; with "
        f"{_and(sorted(horses)) or 'nobody'} look at its distances again."
    )


def _not_at_hand(lesson: Lesson) -> list[str]:
    grid = LessonGrid.objects.filter(lesson=lesson).first()
    if grid is None:
        return []
    return not_at_hand(grid, store_of(store_by_place(), lesson.arena))


def not_at_hand(grid: LessonGrid, store: Store) -> list[str]:
    """Say which pieces of a lesson's grid its arena has not of its own."""
    return [one.says for one in grid_in_store(grid, store) if one.fit is not Fit.FITS]


def _and(names: list[str]) -> str:
    return " and ".join(one for one in (", ".join(names[:-1]), *names[-1:]) if one)


def _added(before: dict[date, Data], after: dict[date, Data]) -> tuple[int | None, str]:
    """Return the seconds of reset that are added, and what is lost if none can be."""
    added = 0
    for day, then in after.items():
        if not _differ(before[day], then):
            continue
        try:
            was, becomes = reset_as_booked(before[day]), reset_as_booked(then)
        except InvalidDay:
            return None, "What it adds to the changeovers can't be reckoned."
        if becomes is None and was is not None:
            return None, (
                "The changeovers would no longer find the time they need. Leave more "
                "room, or order the day anew afterwards."
            )
        if becomes is None or was is None:
            return None, (
                "The day as booked leaves the changeovers no time, so what this adds "
                "can't be said. Order the day anew."
            )
        added += becomes - was
    return added, ""


def day_of(moment: datetime) -> date:
    """Return the local day of a moment."""
    return moment.astimezone(school_zone()).date()
