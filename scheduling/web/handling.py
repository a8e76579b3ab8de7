"""The page of handling times: the usual, those in use, and what the ticks tell."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.changeover.effort import handling_from
from scheduling.changeover.learning import Factor, Learned, UnableToLearn
from scheduling.changeover.work import KEYS, times_of
from scheduling.services.handling import (
    UnableToUse,
    YardTimes,
    use_learned_times,
    use_usual_times,
    yard_times,
)
from scheduling.wording import handling_words
from school.models import School
from school.permissions import is_manager
from school.queries.schools import the_school
from school.web.access import account_of, allowed


@allowed(is_manager)
def handling_page(request: HttpRequest) -> HttpResponse:
    school = the_school()
    found: YardTimes | None = None
    wait = ""
    try:
        found = yard_times()
    except UnableToLearn as refusal:
        wait = str(refusal)
    context = {
        "school": school,
        "found": found,
        "wait": wait,
        "rows": _rows(school, found.learned if found else None),
        "people": _people(found.learned) if found else [],
        "new": found is not None and found.changeovers != school.handling_changeovers,
    }
    return render(request, "scheduling/handling.html", context)


@require_POST
@allowed(is_manager)
def use_handling(request: HttpRequest) -> HttpResponse:
    by, now = account_of(request), timezone.now()
    try:
        if request.POST.get("times") == "usual":
            use_usual_times(by=by, now=now)
            messages.success(request, "Plans reckon with the usual estimates again.")
        else:
            count = request.POST.get("changeovers", "")
            use_learned_times(
                changeovers=int(count) if count.isdecimal() else 0, by=by, now=now
            )
            messages.success(
                request,
                "Plans made from now on reckon with this yard's own times. "
                "Order the days ahead anew to use them.",
            )
    except (UnableToUse, UnableToLearn) as refusal:
        messages.error(request, str(refusal))
    return redirect("handling")


def _rows(school: School, learned: Learned | None) -> list[dict[str, Any]]:
    used = dict(zip(KEYS, times_of(handling_from(school.handling)), strict=True))
    usual = dict(zip(KEYS, times_of(handling_from({})), strict=True))
    told = {one.key: one for one in learned.times} if learned else {}
    return [
        {
            "words": handling_words(key),
            "usual": usual[key],
            "used": used[key],
            "told": told.get(key),
        }
        for key in KEYS
        if usual[key]
    ]


def _people(learned: Learned) -> list[tuple[str, Factor]]:
    """Return the pace of each person, and what two together need of the time."""
    people = [(name or "Nobody named", one) for name, one in learned.persons.items()]
    pair = [("Two together", learned.pair)] if learned.pair else []
    return [*(people if len(people) > 1 else []), *pair]
