"""Terms, the days of them without lessons, and what is carried into the next."""

from datetime import date, datetime, timedelta

from django.db.models import Count, Q

from school.enums import HOLDING_STATES, RideState
from school.models import (
    HorseState,
    InstructorPaper,
    Lesson,
    LessonSeries,
    Ride,
    School,
    Term,
)
from school.queries.holidays import holidays_of
from school.queries.series import WEEK


def terms_by_date() -> list[Term]:
    """Return every term, the newest first, with how many weekly lessons it has."""
    return list(
        Term.objects.annotate(lessons=Count("series"))
        .prefetch_related("breaks")
        .order_by("-first_date")
    )


def breaks_of(term: Term) -> dict[date, str]:
    """Return the days of a term that its breaks leave out, with their names."""
    days: dict[date, str] = {}
    for one in term.breaks.order_by("first_date"):
        day = one.first_date
        while day <= one.last_date:
            days[day] = one.name
            day += timedelta(days=1)
    return days


def days_without_lessons(school: School, term: Term) -> dict[date, str]:
    """Return the days of a term without lessons: public holidays and its breaks."""
    holidays = holidays_of(school, term.first_date, term.last_date)
    return holidays | breaks_of(term)


def first_in(term: Term, weekday: int) -> date:
    """Return the first day of a term that is a weekday."""
    return term.first_date + timedelta(days=(weekday - term.first_date.weekday()) % 7)


def term_before(term: Term) -> Term | None:
    """Return the last term that ends before another begins."""
    earlier = Term.objects.filter(last_date__lt=term.first_date)
    return earlier.order_by("-last_date").first()


def series_of_term(term: Term) -> list[LessonSeries]:
    """Return the weekly lessons of a term, by weekday and time."""
    return list(
        LessonSeries.objects.filter(term=term)
        .select_related("arena", "instructor__person")
        .annotate(
            held=Count("lessons", filter=Q(lessons__state__in=HOLDING_STATES)),
        )
        .order_by("weekday", "local_start", "pk")
    )


def going_on_from(old: Term, new: Term) -> list[LessonSeries]:
    """Return what runs to the end of one term and is not in the next yet.

    What was ended, or changed into another, within the term does not go on.
    """
    return list(
        LessonSeries.objects.filter(term=old, last_date__gt=old.last_date - WEEK)
        .exclude(carried_to__term=new)
        .select_related("arena", "instructor__person")
        .order_by("weekday", "local_start", "pk")
    )  # fmt: skip


def last_riders(series: LessonSeries) -> list[Ride]:
    """Return who rides in the last lesson of a weekly one, and on which horse."""
    last = (
        Lesson.objects.filter(series=series, state__in=HOLDING_STATES)
        .order_by("-series_date")
        .first()
    )
    if last is None:
        return []
    return list(
        Ride.objects.filter(lesson=last)
        .exclude(state=RideState.CANCELLED)
        .select_related("rider__person", "rider__client", "horse")
        .order_by("pk")
    )


def away_in(rides: list[Ride], first: datetime, last: datetime) -> dict[int, str]:
    """Return the horses of rides that are not to be ridden for some of a time."""
    states = HorseState.objects.filter(
        horse__in=[one.horse_id for one in rides if one.horse_id], state_from__lt=last
    ).filter(Q(state_to__isnull=True) | Q(state_to__gt=first))
    return {
        one.horse_id: f"{one.horse} is not to be ridden ({one.reason})"
        for one in states.select_related("horse").order_by("-state_from")
    }


def papers_ending(instructor_id: int, last: date) -> list[InstructorPaper]:
    """Return an instructor's papers that end on or before a day."""
    return list(
        InstructorPaper.objects.filter(
            instructor_id=instructor_id, expires_date__lt=last
        ).order_by("expires_date", "pk")
    )
