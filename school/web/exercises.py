"""The school's choice between its own exercises and the library's."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.models import Exercise
from exercises.services import UnableToChoose
from school.permissions import may_make_grids
from school.services.exercises import keep_ours, take_librarys
from school.web.access import account_of, allowed


@require_POST
@allowed(may_make_grids)
def take(request: HttpRequest, slug: str) -> HttpResponse:
    return _choose(request, slug, take_librarys, "is now ridden as the library has it")


@require_POST
@allowed(may_make_grids)
def keep(request: HttpRequest, slug: str) -> HttpResponse:
    return _choose(request, slug, keep_ours, "stays as the school has it")


def _choose(request: HttpRequest, slug: str, service: Any, done: str) -> HttpResponse:
    exercise = Exercise.objects.filter(slug=slug).first()
    if exercise is None:
        raise Http404
    try:
        chosen = service(exercise=exercise, by=account_of(request), now=timezone.now())
    except UnableToChoose as error:
        messages.error(request, error.says)
    else:
        messages.success(request, f"{chosen.name} {done}.")
    return redirect("exercise", slug=slug)
