"""What the invented school has through the week: weekly lessons, and who waits."""

from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction

from school.models import (
    Account,
    Arena,
    Horse,
    Instructor,
    LessonSeries,
    Rider,
    WaitingWish,
)
from school.services.answers import make_wish
from school.services.series import start_series
from school.services.series_parts import SeriesPlan


def book_week(scenario: dict[str, Any], day: date, now: datetime) -> None:
    """Book the weekly lessons of the weeks after the Saturday; all, or none."""
    with transaction.atomic():
        if LessonSeries.objects.exists():
            return
        by = Account.objects.filter(is_manager=True).order_by("pk").first()
        for data in scenario["weekly"]:
            first = day + timedelta(days=data["days_after"])
            start_series(
                plan=SeriesPlan(
                    name=data["title"],
                    kind=data["kind"],
                    work=data["work"],
                    arena=Arena.objects.get(name=data["arena"]),
                    instructor=Instructor.objects.get(
                        person__first_name=data["instructor"]
                    ),
                    local_start=time.fromisoformat(data["start"]),
                    minutes=data["minutes"],
                    places=data["places"],
                ),
                first_date=first,
                last_date=first + timedelta(days=7 * (data["weeks"] - 1)),
                rides=[
                    (_rider(rider), Horse.objects.get(name=horse))
                    for rider, horse in data["riders"]
                ],
                by=by,
                now=now,
            )


def note_wishes(scenario: dict[str, Any], now: datetime) -> None:
    """Put on the waiting list who waits for a time; all, or none."""
    with transaction.atomic():
        if WaitingWish.objects.exists():
            return
        for data in scenario["waiting"]:
            make_wish(
                rider=_rider(data["rider"]),
                work=data["work"],
                weekday=data.get("weekday"),
                from_at=time.fromisoformat(data["from_at"]),
                to_at=time.fromisoformat(data["to_at"]),
                note=data.get("note", ""),
                now=now,
            )


def _rider(first_name: str) -> Rider:
    return Rider.objects.select_related("person", "client").get(
        person__first_name=first_name
    )
