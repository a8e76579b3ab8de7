"""One changeover: its drawing, its moves, and why it costs what it does."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from scheduling.queries import changeover_with_all, piece_weights
from scheduling.services.reasons import reason_of
from scheduling.web.resets import card_of
from school.convert import units_of
from school.permissions import is_staff_of_yard
from school.queries.schools import the_school
from school.web.access import allowed


@allowed(is_staff_of_yard)
def changeover_page(request: HttpRequest, pk: int) -> HttpResponse:
    one = changeover_with_all(pk)
    if one is None:
        raise Http404
    units = units_of(the_school())
    context = {
        "card": card_of(one, units, piece_weights()),
        "reason": reason_of(one),
    }
    return render(request, "scheduling/changeover.html", context)
