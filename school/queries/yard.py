"""Work of the ground by day, and the rules that it comes from."""

from datetime import date, datetime

from django.db.models import QuerySet
from django.utils import timezone

from school.models import Groundsperson, YardRule, YardWork


def yard_work_with_all() -> QuerySet[YardWork]:
    """Return work of the ground in order, with all a list shows."""
    return YardWork.objects.select_related(
        "arena", "line", "who__person", "rule"
    ).order_by("starts_at", "arena__name", "pk")


def yard_work_between(first: date, last: date) -> list[YardWork]:
    """Return what is to be done on some days; what is called off is left out."""
    return list(
        yard_work_with_all().filter(
            date__gte=first, date__lte=last, called_off_at__isnull=True
        )
    )


def yard_work_of_day(day: date) -> list[YardWork]:
    """Return a day's work as a list has it: also what was called off on the day."""
    return [
        one
        for one in yard_work_with_all().filter(date=day)
        if one.called_off_at is None
        or timezone.localtime(one.called_off_at).date() >= day
    ]


def yard_work_of(
    groundsperson: Groundsperson, first: datetime, last: datetime
) -> list[YardWork]:
    """Return a groundsperson's work from one moment to another."""
    return list(
        yard_work_with_all().filter(
            who=groundsperson,
            called_off_at__isnull=True,
            starts_at__gte=first,
            starts_at__lt=last,
        )
    )


def open_moves() -> dict[int, YardWork]:
    """Return the moves of lines that are in the book and not done, by line."""
    works = yard_work_with_all().filter(
        line__isnull=False, called_off_at__isnull=True, done_at__isnull=True
    )
    return {one.line_id: one for one in works if one.line_id is not None}


def on_duty(starts_at: datetime, ends_at: datetime) -> Groundsperson | None:
    """Return who works the whole time; those who go alone come first.

    Both moments are in the school's zone.
    """
    there = Groundsperson.objects.filter(
        works_from__lte=starts_at.time(), works_to__gte=ends_at.time()
    ).order_by("works_from", "pk")
    return min(there, key=lambda one: not one.alone_on(starts_at.date()), default=None)


def standing_rules() -> list[YardRule]:
    """Return the rules that hold, through the week."""
    return list(
        YardRule.objects.filter(ended_at__isnull=True)
        .select_related("arena")
        .order_by("weekday", "local_start", "arena__name", "pk")
    )
