"""One changeover: its drawing, its moves, and why it costs what it does."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from scheduling.convert.fetching import fetched_before
from scheduling.queries.carrying import carrying_of_yard
from scheduling.queries.changeovers import changeover_with_all, changeovers_of_plan
from scheduling.services.reasons import reason_of
from scheduling.web.resets import card_of
from school.convert import units_of
from school.permissions import is_staff_of_yard
from school.queries.schools import the_school
from school.queries.store import store_by_place
from school.web.access import allowed


@allowed(is_staff_of_yard)
def changeover_page(request: HttpRequest, pk: int) -> HttpResponse:
    one = changeover_with_all(pk)
    if one is None:
        raise Http404
    school = the_school()
    units = units_of(school)
    fetched = fetched_before(changeovers_of_plan(one.plan), store_by_place())
    context = {
        "fetch": fetched.get(one.pk, ""),
        "card": card_of(one, units, carrying_of_yard(school)),
        "reason": reason_of(one),
    }
    return render(request, "scheduling/changeover.html", context)
