"""Forms of a weekly lesson: each asks from which day on."""

from calendar import day_name
from datetime import date
from typing import Any

from django import forms

from exercises.models import Exercise
from school.enums import LessonKind, Work
from school.models import Arena, Horse, Instructor, LessonSeries, Rider
from school.services.series_changes import Grids
from school.services.series_parts import SeriesPlan

AS_THEY_ARE, OFF = "", "off"
"""What a choice of grids says that is none of an exercise."""


def day_field(label: str, *, required: bool = True) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=required,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )


class JoinForm(forms.Form):
    rider = forms.ModelChoiceField(
        Rider.objects.select_related("person").order_by("person__first_name", "pk")
    )
    horse = forms.ModelChoiceField(Horse.objects.order_by("name"), required=False)
    first_date = day_field("From this day on")
    last_date = day_field("Up to this day (empty: to the end)", required=False)


class LeaveForm(forms.Form):
    rider = forms.ModelChoiceField(Rider.objects.none())
    first_date = day_field("From this day on")
    reason = forms.CharField(max_length=200)

    def __init__(self, *args: Any, riders: list[Rider], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["rider"]
        field.queryset = Rider.objects.filter(  # type: ignore[attr-defined]
            pk__in=[one.pk for one in riders]
        ).select_related("person")


class SkipForm(forms.Form):
    day = day_field("Not on this day")
    reason = forms.CharField(max_length=120)


class EndForm(forms.Form):
    last_date = day_field("The last lesson is on, or before")
    reason = forms.CharField(max_length=200)


class ChangeForm(forms.Form):
    first_date = day_field("From this day on")
    name = forms.CharField(max_length=120)
    kind = forms.ChoiceField(choices=LessonKind.choices)
    work = forms.ChoiceField(choices=Work.choices)
    weekday = forms.TypedChoiceField(
        choices=[(str(n), day) for n, day in enumerate(day_name)], coerce=int
    )
    local_start = forms.TimeField(
        label="Start", widget=forms.TimeInput(attrs={"type": "time"})
    )
    window_from = forms.TimeField(
        required=False,
        label="May start from (leave empty for a fixed time)",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    window_to = forms.TimeField(
        required=False,
        label="May start until",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    minutes = forms.IntegerField(min_value=10, max_value=240)
    arena = forms.ModelChoiceField(Arena.objects.order_by("name"))
    instructor = forms.ModelChoiceField(
        Instructor.objects.select_related("person").order_by("person__first_name", "pk")
    )
    places = forms.IntegerField(min_value=1, max_value=12)
    grids = forms.ChoiceField(
        choices=lambda: [
            (AS_THEY_ARE, "leave each lesson's as it is"),
            (OFF, "none any more"),
            *(
                (str(one.pk), f"{one.name}, fitted to each lesson's horses")
                for one in Exercise.objects.filter(current__isnull=False).order_by(
                    "name"
                )
            ),
        ],
        required=False,
        label="Grids",
    )

    def clean(self) -> dict[str, Any]:
        """Refuse a grid for a flat lesson."""
        data = super().clean() or {}
        if (
            data.get("grids") not in {AS_THEY_ARE, OFF, None}
            and data.get("work") == Work.FLAT
        ):
            self.add_error("grids", "A flat lesson takes no grid.")
        return data

    def new_grids(self) -> Grids:
        """Return the grid that each lesson is given, or what becomes of theirs."""
        chosen = self.cleaned_data["grids"]
        if chosen == OFF:
            return "off"
        one = None
        if chosen != AS_THEY_ARE:
            one = Exercise.objects.select_related("current").get(pk=chosen).current
        return one or "as they are"

    def plan(self) -> SeriesPlan:
        """Return what the lesson is from then on."""
        left_out = {"first_date", "weekday", "grids"}
        return SeriesPlan(
            **{k: v for k, v in self.cleaned_data.items() if k not in left_out}
        )


def forms_of(
    series: LessonSeries, riders: list[Rider], first: date
) -> dict[str, forms.Form]:
    """Return every form of a series, as it begins."""
    names = set(ChangeForm.base_fields) - {"first_date", "grids"}
    as_it_is = {name: getattr(series, name) for name in names}
    return {
        "join": JoinForm(prefix="join", initial={"first_date": first}),
        "leave": LeaveForm(
            prefix="leave", riders=riders, initial={"first_date": first}
        ),
        "skip": SkipForm(prefix="skip", initial={"day": first}),
        "change": ChangeForm(prefix="change", initial=as_it_is | {"first_date": first}),
        "end": EndForm(prefix="end"),
    }
