"""What a booking would break and cost, said in its form before it is done."""

from collections.abc import Callable
from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.services.board import Foretold, foretell
from school.models import Account, Lesson
from school.permissions import is_manager
from school.services.booking import book_with_grid
from school.services.lesson_changes import broken_by_booking
from school.web.access import account_of, allowed
from school.web.forms import BookForm, with_slot
from school.web.overruling import reason_of
from school.web.weekly import book_weekly

PAGE, PART = "school/lesson_new.html", "scheduling/_booking.html"


@require_POST
@allowed(is_manager)
def try_booking(request: HttpRequest) -> HttpResponse:
    """Say what a booking would break and cost; nothing is written."""
    form = BookForm(with_slot(request.POST))
    context: dict[str, object] = {"form": form}
    if form.is_valid():
        context |= {
            "foretold": _foretold(form, account_of(request), reason_of(request)),
            "overrule": reason_of(request),
            "weekly": bool(form.cleaned_data["until"]),
        }
    else:
        context["missing"] = [str(form[one].label).lower() for one in form.errors]
    part = request.headers.get("HX-Request") == "true"
    return render(request, PART if part else PAGE, context)


def _foretold(form: BookForm, by: Account, overrule: str) -> Foretold:
    data, rides = form.cleaned_data, form.rides()
    where = {
        "starts_at": form.moment(),
        **{name: data[name] for name in ("minutes", "arena", "instructor", "places")},
        "kind": data["kind"],
        "work": data["work"],
        "rides": rides,
    }
    now = timezone.now()
    do: Callable[[], Lesson]
    if data["until"]:
        do = partial(_first_of_weekly, form, by, overrule)
    else:
        first, last = form.window()
        do = partial(
            book_with_grid, revision=form.revision(), title=data["title"],
            by=by, now=now,
            overrule=overrule, window_from=first, window_to=last, **where,
        )  # fmt: skip
    broken = partial(broken_by_booking, **where)
    return foretell(do=do, dates=[data["date"]], now=now, broken=broken)


def _first_of_weekly(form: BookForm, by: Account, overrule: str) -> Lesson:
    series = book_weekly(form, by=by, now=timezone.now(), overrule=overrule)
    return series.lessons.order_by("starts_at", "pk")[0]
