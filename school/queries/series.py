from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, OuterRef, Prefetch, Q, Subquery
from django.db.models.functions import Coalesce

from school.enums import HOLDING_STATES, KEPT_PLACES, RideState
from school.models import Invitation, Lesson, LessonSeries, Ride, Rider

WEEK = timedelta(days=7)


def moment_of(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """Return the moment of a local day and clock time, in UTC.

    A time that comes twice is the first, one that is skipped is taken with the
    offset before the gap (RFC 5545 section 3.3.5), as the fold of 0 has it.
    """
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)


def weeks_of(first: date, last: date) -> Iterator[date]:
    """Yield the same weekday of each week, from the first day to the last."""
    day = first
    while day <= last:
        yield day
        day += WEEK


def lessons_of_invitation(invitation: Invitation) -> list[Lesson]:
    """Return the lessons a weekly invitation stands for, by their day.

    Those of its days that its client is booked into, but not what they have an
    entry of its own for.
    """
    own = Invitation.objects.filter(
        client_id=invitation.client_id, lesson__isnull=False, withdrawn=False
    )
    return list(
        Lesson.objects.filter(
            series_id=invitation.series_id,
            series_date__gte=invitation.first_date,
            series_date__lte=invitation.last_date,
            state__in=HOLDING_STATES,
            rides__state__in=KEPT_PLACES,
            rides__rider__client_id=invitation.client_id,
        )
        .exclude(pk__in=own.values("lesson_id"))
        .select_related("arena", "instructor__person")
        .prefetch_related(
            Prefetch(
                "rides",
                queryset=Ride.objects.select_related("rider__person", "horse"),
                to_attr="told_rides",
            )
        )
        .distinct()
        .order_by("series_date", "pk")
    )


def lessons_from(series: LessonSeries, first: date) -> list[Lesson]:
    """Return the lessons of a series from a day on that still hold their places."""
    return list(
        Lesson.objects.filter(
            series=series, series_date__gte=first, state__in=HOLDING_STATES
        )
        .select_related("arena", "instructor__person")
        .order_by("series_date", "pk")
    )


def series_running(today: date) -> list[LessonSeries]:
    """Return the series that still have days to come, with what a list shows.

    Each carries `left`, how many lessons are to come, and `riders`, how many ride
    in the next of them.
    """
    coming = Lesson.objects.filter(
        series=OuterRef("pk"), series_date__gte=today, state__in=HOLDING_STATES
    ).order_by("series_date", "pk")
    riders = (
        Ride.objects.filter(lesson=OuterRef("next_pk"), state=RideState.BOOKED)
        .order_by()
        .values("lesson")
        .annotate(n=Count("pk"))
        .values("n")
    )
    return list(
        LessonSeries.objects.filter(last_date__gte=today)
        .select_related("arena", "instructor__person")
        .annotate(
            left=Count(
                "lessons",
                filter=Q(
                    lessons__series_date__gte=today,
                    lessons__state__in=HOLDING_STATES,
                ),
            ),
            next_pk=Subquery(coming.values("pk")[:1]),
        )
        .annotate(riders=Coalesce(Subquery(riders), 0))
        .order_by("weekday", "local_start", "pk")
    )


def days_of_series(series: LessonSeries, today: date) -> list[Lesson]:
    """Return the lessons of a series that are to come, cancelled ones too."""
    return list(
        Lesson.objects.filter(series=series, series_date__gte=today)
        .select_related("arena", "instructor__person")
        .prefetch_related(
            Prefetch(
                "rides",
                queryset=Ride.objects.filter(state=RideState.BOOKED).select_related(
                    "rider__person", "horse"
                ),
                to_attr="told_rides",
            )
        )
        .order_by("series_date", "pk")
    )


def riders_of_series(series: LessonSeries, today: date) -> list[Rider]:
    """Return who rides in any lesson of a series that is to come."""
    return list(
        Rider.objects.filter(
            rides__lesson__series=series,
            rides__lesson__series_date__gte=today,
            rides__lesson__state__in=HOLDING_STATES,
            rides__state=RideState.BOOKED,
        )
        .select_related("person")
        .distinct()
        .order_by("person__first_name", "pk")
    )
