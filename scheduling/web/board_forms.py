"""The form of a lesson on the board: what it is, and what it is to be."""

from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from school.models import Arena, Horse, Instructor, Lesson
from school.queries.lessons import booked_rides
from school.services.lesson_changes import Change
from school.web.forms import MomentForm


class ChangeForm(MomentForm):
    """Place, time, length, instructor and each rider's horse, of one version."""

    minutes = forms.IntegerField(min_value=10, max_value=240, label="Minutes")
    arena = forms.ModelChoiceField(Arena.objects.order_by("name"), empty_label=None)
    instructor = forms.ModelChoiceField(
        Instructor.objects.select_related("person").order_by(
            "person__first_name", "pk"
        ),
        empty_label=None,
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
    why = forms.CharField(
        max_length=200, required=False, label="Why (its clients read it)"
    )
    reason = forms.CharField(max_length=200, required=False)
    overrule = forms.CharField(max_length=400, required=False)

    field_order = ("version", "date", "start", "minutes", "arena", "instructor")

    def __init__(
        self, data: QueryDict | None = None, *, lesson: Lesson, cancels: bool = False
    ) -> None:
        super().__init__(data, initial=as_it_is(lesson))
        self.cancels = cancels
        if cancels:
            for name in ("date", "start", "minutes", "arena", "instructor"):
                self.fields[name].required = False
        self.rides = booked_rides(lesson)
        # One query: the same list serves every rider.
        self.horses = {str(one.pk): one for one in Horse.objects.order_by("name")}
        choices = [("", "no horse yet")]
        choices += [(key, one.name) for key, one in self.horses.items()]
        for ride in self.rides:
            self.fields[f"horse_{ride.pk}"] = forms.ChoiceField(
                choices=choices,
                required=False,
                initial=ride.horse_id or "",
                label=f"Horse of {ride.rider.person.first_name}",
            )

    def place_fields(self) -> list[Any]:
        """Return what is shown, why last: all but the version and other reasons."""
        apart = {"reason", "overrule", "why"}
        shown = [one for one in self.visible_fields() if one.name not in apart]
        return [*shown, self["why"]]

    def change(self) -> Change:
        """Return what is asked for; without a reason nothing can be cancelled."""
        data = self.cleaned_data
        if self.cancels:
            reason = data["reason"].strip()
            return Change(version=data["version"], reason=reason)
        return Change(
            version=data["version"],
            starts_at=self.moment(),
            minutes=data["minutes"],
            arena=data["arena"],
            instructor=data["instructor"],
            horses={
                ride.pk: self.horses.get(data[f"horse_{ride.pk}"])
                for ride in self.rides
            },
            why=data["why"].strip(),
            overrule=data["overrule"].strip(),
        )


def as_it_is(lesson: Lesson) -> dict[str, Any]:
    """Return a lesson as its form shows it."""
    local = timezone.localtime(lesson.starts_at)
    return {
        "date": local.date(),
        "start": local.strftime("%H:%M"),
        "minutes": int((lesson.ends_at - lesson.starts_at).total_seconds() // 60),
        "arena": lesson.arena_id,
        "instructor": lesson.instructor_id,
        "version": lesson.version,
    }
