from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from school.enums import LessonState, RideState
from school.models import Client, Horse, Instructor, Lesson, Ride


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the first moment of a local day and of the next."""
    first = datetime.combine(day, time(), tzinfo=zone)
    return first, datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)


def lessons_with_all() -> QuerySet[Lesson]:
    """Return lessons with everything a page or feed shows, in few queries."""
    rides = Ride.objects.filter(state=RideState.BOOKED).select_related(
        "horse", "rider__person", "rider__client__person"
    )
    return (
        Lesson.objects.select_related(
            "arena", "instructor__person", "grid__revision__exercise"
        )
        .prefetch_related(
            Prefetch("rides", queryset=rides.order_by("pk"), to_attr="booked_rides"),
            "other_arenas",
        )
        .order_by("starts_at", "pk")
    )


def booked_rides(lesson: Lesson) -> list[Ride]:
    """Return the booked rides of a lesson that was fetched with all."""
    rides: list[Ride] = getattr(lesson, "booked_rides", [])
    return rides


def lessons_of_day(day: date, zone: ZoneInfo) -> list[Lesson]:
    """Return the lessons of a local day that are not cancelled, by start."""
    return lessons_between(*day_bounds(day, zone))


def lessons_between(first: datetime, last: datetime) -> list[Lesson]:
    """Return the lessons between two moments that are not cancelled, by start."""
    return list(
        lessons_with_all()
        .filter(starts_at__gte=first, starts_at__lt=last)
        .exclude(state=LessonState.CANCELLED)
    )


def lessons_of_client(client: Client, first: datetime, last: datetime) -> list[Lesson]:
    """Return the lessons a client's riders are in, from one moment to another."""
    return list(
        lessons_with_all()
        .filter(
            starts_at__gte=first,
            starts_at__lt=last,
            rides__rider__client=client,
            rides__state=RideState.BOOKED,
        )
        .exclude(state__in=[LessonState.CANCELLED, LessonState.ASKED])
        .distinct()
    )


def lessons_of_instructor(
    instructor: Instructor, first: datetime, last: datetime
) -> list[Lesson]:
    """Return the lessons of an instructor, from one moment to another."""
    return list(
        lessons_with_all()
        .filter(starts_at__gte=first, starts_at__lt=last, instructor=instructor)
        .exclude(state__in=[LessonState.CANCELLED, LessonState.ASKED])
    )


def lessons_of_horse(horse: Horse, first: datetime, last: datetime) -> list[Lesson]:
    """Return the lessons a horse goes in, from one moment to another."""
    return list(
        lessons_with_all()
        .filter(
            starts_at__gte=first,
            starts_at__lt=last,
            rides__horse=horse,
            rides__state=RideState.BOOKED,
        )
        .exclude(state__in=[LessonState.CANCELLED, LessonState.ASKED])
    )


def lesson_with_all(pk: int) -> Lesson | None:
    """Return one lesson with everything its page shows."""
    return lessons_with_all().filter(pk=pk).first()


def next_lesson_day(today: date, zone: ZoneInfo) -> date:
    """Return the next day with a lesson, from today on; today if there is none."""
    first, _ = day_bounds(today, zone)
    lesson = (
        Lesson.objects.filter(starts_at__gte=first)
        .exclude(state=LessonState.CANCELLED)
        .order_by("starts_at", "pk")
        .first()
    )
    return today if lesson is None else lesson.starts_at.astimezone(zone).date()


def lessons_to_remind_of(first: datetime, last: datetime) -> list[Lesson]:
    """Return the lessons that will be held, between two moments, by start."""
    return list(
        Lesson.objects.filter(
            starts_at__gt=first,
            starts_at__lte=last,
            state__in=[LessonState.BOOKED, LessonState.CONFIRMED],
        ).order_by("starts_at", "pk")
    )
