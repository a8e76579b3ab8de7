"""Planning the work of the ground: once or every week, and calling it off."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.db import IntegrityError, transaction
from django.db.models import F

from school.enums import HOLDING_STATES, YardKind
from school.models import (
    Account,
    Arena,
    ArenaClosure,
    Lesson,
    School,
    YardRule,
    YardWork,
)
from school.queries.closures import closures_between
from school.queries.daylight import daylight, needs_daylight
from school.queries.schools import school_zone, the_school
from school.queries.yard import on_duty
from school.services.audit import record, snapshot
from school.services.refusals import clock, hour
from school.services.units import UnableToSet

LAID_OUT = timedelta(days=28)
"""How far ahead a weekly rule has its work in the book."""

LEAST_MIN, MOST_MIN = 5, 240


class UnableToPlanWork(ValueError):
    """Work of the ground that is refused: a code, plain words, and the field."""

    def __init__(self, code: str, says: str, field: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.field = field


@dataclass(frozen=True, slots=True)
class Missed:
    """A day on which a weekly rule finds no room, and why."""

    rule: YardRule
    date: date
    says: str


def plan_work(
    *,
    kind: str,
    arena: Arena,
    starts_at: datetime,
    minutes: int | None,
    by: Account | None,
    now: datetime,
    rule: YardRule | None = None,
) -> YardWork:
    """Put work of the ground in the book; the same twice is there once.

    A harrow holds its arena, and nothing may stand in it when it begins.

    Raises
    ------
    UnableToPlanWork
        For a time that is over, taken, dark or across midnight.
    """
    school, zone = the_school(), school_zone()
    minutes = school.harrow_min if minutes is None else minutes
    _check_minutes(minutes)
    ends_at = (starts_at.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(zone)
    starts_at = starts_at.astimezone(zone)
    try:
        with transaction.atomic():
            known = YardWork.objects.filter(
                kind=kind, arena=arena, starts_at=starts_at, called_off_at=None
            ).first()
            if known is not None:
                return known
            _check_time(school, arena, starts_at, ends_at, now)
            _check_free(arena, starts_at, ends_at)
            return _put(kind, arena, starts_at, ends_at, rule, by, now)
    except IntegrityError as error:
        # Somebody was quicker between the look and the write.
        raise UnableToPlanWork(
            "taken-meanwhile",
            f"{arena} was taken at that time while you were planning. Look at the "
            "day again.",
            "starts",
        ) from error


def _put(
    kind: str,
    arena: Arena,
    starts_at: datetime,
    ends_at: datetime,
    rule: YardRule | None,
    by: Account | None,
    now: datetime,
) -> YardWork:
    closure = None
    if kind == YardKind.HARROW:
        closure = ArenaClosure.objects.create(
            arena=arena,
            closed_from=starts_at,
            closed_to=ends_at,
            reason=YardKind(kind).label,
            needs_clear=True,
        )
    work = YardWork.objects.create(
        kind=kind,
        date=starts_at.date(),
        arena=arena,
        starts_at=starts_at,
        ends_at=ends_at,
        who=on_duty(starts_at, ends_at),
        rule=rule,
        closure=closure,
        changed_at=now,
    )
    record(by=by, at=now, action="plan work", subject=work, after=snapshot(work))
    return work


def call_off(*, work: YardWork, by: Account | None, now: datetime) -> YardWork:
    """Take work out of the book, and free its arena; twice is harmless.

    Raises
    ------
    UnableToPlanWork
        For what is done.
    """
    with transaction.atomic():
        fresh = YardWork.objects.select_for_update().get(pk=work.pk)
        if fresh.called_off_at is not None:
            return fresh
        if fresh.done_at is not None:
            raise UnableToPlanWork(
                "done",
                f"It was done at {clock(fresh.done_at)} and stays in the book.",
                "work",
            )
        before = snapshot(fresh)
        closure, fresh.closure = fresh.closure, None
        fresh.called_off_at = fresh.changed_at = now
        fresh.version = F("version") + 1
        fresh.save(update_fields=["closure", "called_off_at", "changed_at", "version"])
        if closure is not None:
            closure.delete()
        fresh.refresh_from_db()
        record(
            by=by, at=now, action="call off work", subject=fresh, before=before,
            after=snapshot(fresh),
        )  # fmt: skip
        return fresh


def start_rule(
    *,
    kind: str,
    arena: Arena,
    weekday: int,
    local_start: time,
    minutes: int | None,
    by: Account | None,
    now: datetime,
) -> tuple[YardRule, list[Missed]]:
    """Have work every week from now on; where there is no room, say why.

    Raises
    ------
    UnableToPlanWork
        For minutes out of range, or no weekday.
    """
    if minutes is not None:
        _check_minutes(minutes)
    if not 0 <= weekday <= 6:
        raise UnableToPlanWork("weekday", "Choose a day of the week.", "weekday")
    with transaction.atomic():
        rule, made = YardRule.objects.get_or_create(
            kind=kind,
            arena=arena,
            weekday=weekday,
            local_start=local_start,
            ended_at=None,
            defaults={
                "minutes": minutes,
                "since_date": now.astimezone(school_zone()).date(),
            },
        )
        if made:
            record(
                by=by, at=now, action="start rule", subject=rule, after=snapshot(rule)
            )
    return rule, lay_out(now=now, by=by, only=rule)


def end_rule(*, rule: YardRule, by: Account | None, now: datetime) -> YardRule:
    """End a weekly rule: its work to come is called off; twice is harmless."""
    with transaction.atomic():
        fresh = YardRule.objects.select_for_update().get(pk=rule.pk)
        if fresh.ended_at is not None:
            return fresh
        before = snapshot(fresh)
        fresh.ended_at = now
        fresh.save(update_fields=["ended_at"])
        for work in fresh.works.filter(
            starts_at__gt=now, called_off_at=None, started_at=None, done_at=None
        ).order_by("starts_at"):
            call_off(work=work, by=by, now=now)
        record(
            by=by, at=now, action="end rule", subject=fresh, before=before,
            after=snapshot(fresh),
        )  # fmt: skip
        return fresh


def lay_out(
    *, now: datetime, by: Account | None = None, only: YardRule | None = None
) -> list[Missed]:
    """Put the weekly rules' work of the coming weeks in the book, each day once.

    A day on which it was called off stays free. What finds no room is tried again
    the next time.
    """
    zone = school_zone()
    today = now.astimezone(zone).date()
    rules = YardRule.objects.filter(ended_at=None).select_related("arena")
    if only is not None:
        rules = rules.filter(pk=only.pk)
    known = set(
        YardWork.objects.filter(rule__in=rules, date__gte=today).values_list(
            "rule", "date"
        )
    )
    missed = []
    for rule in rules.order_by("pk"):
        for day in _days(rule, today):
            starts_at = datetime.combine(day, rule.local_start, tzinfo=zone)
            if (rule.pk, day) in known or starts_at <= now:
                continue
            try:
                plan_work(
                    kind=rule.kind,
                    arena=rule.arena,
                    starts_at=starts_at,
                    minutes=rule.minutes,
                    rule=rule,
                    by=by,
                    now=now,
                )
            except UnableToPlanWork as refused:
                missed.append(Missed(rule, day, refused.says))
    return missed


def _days(rule: YardRule, today: date) -> list[date]:
    """Return the days of a rule in the coming weeks."""
    first = today + timedelta(days=(rule.weekday - today.weekday()) % 7)
    weeks = range(0, LAID_OUT.days, 7)
    return [first + timedelta(days=n) for n in weeks]


def set_harrow_minutes(*, minutes: int, by: Account | None, now: datetime) -> School:
    """Say how long a harrow takes here; what is in the book stays as it is.

    Raises
    ------
    UnableToSet
        For minutes out of range.
    """
    if not LEAST_MIN <= minutes <= MOST_MIN:
        raise UnableToSet(
            "harrow_min",
            f"Give minutes from {LEAST_MIN} to {MOST_MIN}.",
            "harrow_min",
        )
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        if school.harrow_min == minutes:
            return school
        before = {"harrow_min": school.harrow_min}
        school.harrow_min = minutes
        school.save(update_fields=["harrow_min"])
        record(
            by=by,
            at=now,
            action="set harrow minutes",
            subject=school,
            before=before,
            after={"harrow_min": minutes},
        )
        return school


def set_evening(*, strips: bool, by: Account | None, now: datetime) -> School:
    """Say whether all is taken off the lines every evening; twice is harmless."""
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        if school.strips_evening == strips:
            return school
        school.strips_evening = strips
        school.save(update_fields=["strips_evening"])
        record(
            by=by,
            at=now,
            action="set evening strip",
            subject=school,
            after={"strips_evening": strips},
        )
        return school


def _check_minutes(minutes: int) -> None:
    if not LEAST_MIN <= minutes <= MOST_MIN:
        raise UnableToPlanWork(
            "minutes", f"Give minutes from {LEAST_MIN} to {MOST_MIN}.", "minutes"
        )


def _check_time(
    school: School, arena: Arena, starts_at: datetime, ends_at: datetime, now: datetime
) -> None:
    """Refuse a time that is over, across midnight, or in the dark without lights."""
    if starts_at < now:
        raise UnableToPlanWork("over", "That time is over.", "starts")
    if starts_at.date() != ends_at.date():
        raise UnableToPlanWork("midnight", "It must end on the same day.", "starts")
    light = daylight(school, starts_at.date()) if needs_daylight(arena) else None
    if light is None or (light.rises <= starts_at and ends_at <= light.sets):
        return
    says = f"dark from {light.sets:%H:%M}"
    if starts_at < light.rises:
        says = f"dark until {light.rises:%H:%M}"
    raise UnableToPlanWork(
        "dark",
        f"It is {says} on {starts_at.day} {starts_at:%B}, and {arena} has no lights.",
        "starts",
    )


def _check_free(arena: Arena, starts_at: datetime, ends_at: datetime) -> None:
    """Refuse a time in which the arena is ridden in or closed."""
    lesson = (
        Lesson.objects.filter(
            arena=arena,
            state__in=HOLDING_STATES,
            starts_at__lt=ends_at,
            ends_at__gt=starts_at,
        )
        .order_by("starts_at", "pk")
        .first()
    )
    if lesson is not None:
        raise UnableToPlanWork(
            "arena-busy",
            f"{arena} is taken by {lesson.title} from {hour(lesson.starts_at)} to "
            f"{hour(lesson.ends_at)}. Choose another time.",
            "starts",
        )
    closure = closures_between(starts_at, ends_at).filter(arena=arena).first()
    if closure is not None:
        raise UnableToPlanWork(
            "arena-closed",
            f"{arena} is closed from {hour(closure.closed_from)} to "
            f"{hour(closure.closed_to)} ({closure.reason}).",
            "starts",
        )
