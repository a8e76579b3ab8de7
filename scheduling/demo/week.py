"""What the invented school has through the week: lessons, its ground, and who waits."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction

from scheduling.services.line_rules import set_sideways, usual_rule
from school.enums import YardKind
from school.models import (
    Account,
    Arena,
    Horse,
    Instructor,
    LessonSeries,
    Line,
    Rider,
    WaitingWish,
    YardRule,
)
from school.services.answers import make_wish
from school.services.series import start_series
from school.services.series_parts import SeriesPlan
from school.services.yard import start_rule


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


def keep_ground(scenario: dict[str, Any], now: datetime) -> None:
    """Have the arenas harrowed by the week, and a line moved sideways; all, or none."""
    with transaction.atomic():
        if YardRule.objects.exists():
            return
        by = Account.objects.filter(is_manager=True).order_by("pk").first()
        for data in scenario["harrowing"]:
            start_rule(
                kind=YardKind.HARROW,
                arena=Arena.objects.get(name=data["arena"]),
                weekday=data["weekday"],
                local_start=time.fromisoformat(data["start"]),
                minutes=None,
                by=by,
                now=now,
            )
        for data in scenario["sideways"]:
            line = Line.objects.select_related("arena").get(name=data["line"])
            how = replace(usual_rule(line), every_days=data["every_days"])
            set_sideways(line=line, how=how, by=by, now=now)


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
