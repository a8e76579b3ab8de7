"""A place given back through the manager: on the client's word, or for the school."""

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from school.enums import RideState
from school.models import Ride
from school.permissions import is_manager
from school.queries.outcomes import cost_noted, costs_of_giving_back
from school.queries.schools import free_until, the_school
from school.services.answers import give_back_for
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed

CLIENT, SCHOOL = "client", "school"


class GiveBackForm(forms.Form):
    word = forms.ChoiceField(
        label="On whose word?",
        choices=[
            (CLIENT, "The client's: it costs what is said above"),
            (SCHOOL, "The school's: it costs nothing"),
        ],
    )
    reason = forms.CharField(max_length=200, label="Why?")


@allowed(is_manager)
def give_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what giving a place back costs, and do it once it is pressed."""
    ride = (
        Ride.objects.select_related(
            "lesson__arena", "lesson__instructor__person", "rider__person", "outcome"
        )
        .filter(pk=pk)
        .first()
    )
    if ride is None:
        raise Http404
    now, school, lesson = timezone.now(), the_school(), ride.lesson
    form = GiveBackForm(request.POST or None)
    refusal = ""
    if request.method == "POST" and form.is_valid():
        try:
            cancelled = give_back_for(
                ride=ride,
                for_school=form.cleaned_data["word"] == SCHOOL,
                reason=form.cleaned_data["reason"],
                by=account_of(request),
                now=now,
            )
        except UnableToBook as error:
            refusal = error.says
        else:
            name, more = ride.rider.person.first_name, ""
            if cancelled:
                more = f" {lesson.title} is cancelled with it."
            costs = f"It costs {cost_noted(ride)}."
            messages.success(
                request, f"The place of {name} is given back. {costs}{more}"
            )
            return redirect("lesson", pk=lesson.pk)
    until = free_until(school, lesson.starts_at, lesson.moved_at)
    context = {
        "ride": ride,
        "lesson": lesson,
        "form": form,
        "given_back": ride.state == RideState.CANCELLED,
        "costs": costs_of_giving_back(school, lesson, [ride], now)[ride.pk],
        "until": until,
        "free": now <= until,
        "anew": until != free_until(school, lesson.starts_at, None),
        "refusal": refusal,
    }
    status = 409 if refusal or form.is_bound else 200
    return render(request, "school/give_back.html", context, status=status)
