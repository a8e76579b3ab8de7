"""What makes the reset list a page for the pocket: it opens without signal, takes
presses there, and says what was changed."""

from collections.abc import Sequence
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

import school
from scheduling.models import Changeover
from scheduling.queries.arenas import lessons_in_arenas
from scheduling.queries.plans import former_plan, published_plan
from scheduling.queries.presses import kept_presses
from scheduling.services.news import News, news_of_day
from scheduling.services.presses import booked_words, ridden_in
from school.models import Account, Lesson, YardWork
from school.permissions import is_staff_of_yard
from school.queries.day_links import mark_of
from school.queries.schools import the_school
from school.web.access import allowed

SCRIPTS = Path(school.__file__).parent / "static" / "school" / "js"


def pocket(day: date, account: Account) -> dict[str, Any]:
    """Return what the list of a day needs beside its changeovers."""
    plan, now = published_plan(day), timezone.now()
    former = former_plan(plan) if plan else None
    news = news_of_day(day, former.pk) if former else None
    return {
        "plan": plan,
        "zone": the_school().zone,
        "now_ms": int(now.timestamp() * 1000),
        "mark": mark_of(account),
        "is_today": day == timezone.localtime(now).date(),
        "news": news,
        "kept": kept_presses(day),
    }


def changed_at(news: News | None) -> dict[int, tuple[str, ...]]:
    """Return what each changeover has otherwise than in the plan before, by key."""
    rows = news.rows if news else ()
    return {one.now_pk: one.changed for one in rows if one.now_pk is not None}


def busy_times(
    changeovers: Sequence[Changeover], day: date
) -> dict[int, list[dict[str, Any]]]:
    """Return when each changeover's arena is ridden in, as a phone reckons."""
    lessons = lessons_in_arenas(day)
    return {
        one.pk: [
            _busy(lesson, ridden_in(one, lesson))
            for lesson in lessons
            if lesson.arena_id == one.line.arena_id
        ]
        for one in changeovers
    }


def busy_for_work(
    works: Sequence[YardWork], day: date
) -> dict[int, list[dict[str, Any]]]:
    """Return when the arena of each work of the ground is ridden in."""
    lessons = lessons_in_arenas(day) if works else []
    return {
        one.pk: [
            _busy(lesson, lesson.starts_at)
            for lesson in lessons
            if lesson.arena_id == one.arena_id
        ]
        for one in works
    }


def _busy(lesson: Lesson, begins: datetime) -> dict[str, Any]:
    return {
        "from": int(begins.timestamp() * 1000),
        "to": int(lesson.ends_at.timestamp() * 1000),
        "says": booked_words(lesson),
    }


@allowed(is_staff_of_yard)
def todays_list(request: HttpRequest) -> HttpResponse:
    """Lead to today's list: what an icon on the phone's first page opens."""
    return redirect("resets", day=timezone.localdate().isoformat())


def worker(request: HttpRequest) -> HttpResponse:
    """Answer with the script that keeps the list without signal.

    From here, not from the static files, since a worker only sees pages beneath
    its own address. It holds nothing of anybody.
    """
    response = HttpResponse(_worker(), content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    response["Service-Worker-Allowed"] = "/"
    return response


@cache
def _worker() -> str:
    names = ("reset-queue.js", "reset-worker.js")
    return "\n".join((SCRIPTS / name).read_text() for name in names)
