"""Each role begins with what it must do next."""

from datetime import timedelta

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from school.models import Client, Instructor
from school.permissions import (
    is_client,
    is_instructor,
    is_manager,
    is_staff_of_yard,
    roles_of,
)
from school.queries.lessons import lessons_of_instructor, next_lesson_day
from school.queries.links import page_path
from school.queries.ride_logs import lessons_to_log
from school.web.access import account_of, allowed

AHEAD = timedelta(days=120)
LOG_BACK = timedelta(days=7)
"""So long a lesson without a log is asked for."""


@login_required
def home(request: HttpRequest) -> HttpResponse:
    account = account_of(request)
    if is_manager(account) or is_staff_of_yard(account):
        today = timezone.localdate()
        day = next_lesson_day(today, timezone.get_current_timezone())
        if is_manager(account):
            return redirect("day", day=day.isoformat())
        if is_instructor(account):
            return redirect("my-lessons")
        return redirect("resets", day=day.isoformat())
    if is_client(account):
        return redirect("client")
    return render(request, "school/nobody.html")


@allowed(is_instructor)
def my_lessons(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    instructor = Instructor.objects.get(person=account_of(request).person)
    lessons = lessons_of_instructor(instructor, now - timedelta(hours=12), now + AHEAD)
    return render(
        request,
        "school/my_lessons.html",
        {"lessons": lessons, "to_log": lessons_to_log(instructor, now, LOG_BACK)},
    )


@allowed(is_manager)
def all_pages(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    day = next_lesson_day(today, timezone.get_current_timezone())
    return render(
        request,
        "school/all_pages.html",
        {"today": today.isoformat(), "day": day.isoformat()},
    )


@allowed(is_client)
def client_page(request: HttpRequest) -> HttpResponse:
    """Lead to the one page of a client, which signed links open too."""
    client = Client.objects.get(person=account_of(request).person)
    # A path, not an address: the browser stays where it is signed in.
    response = redirect(page_path(client, now=timezone.now()))
    response["Cache-Control"] = "no-store"
    return response


@login_required
def style_page(request: HttpRequest) -> HttpResponse:
    return render(
        request, "school/style.html", {"roles": roles_of(account_of(request))}
    )
