"""Who or what is out, from when to when: as it is typed."""

from datetime import UTC, date, datetime, time, timedelta

from django import forms
from django.utils import timezone

from school.enums import HorseStateKind, OutKind
from school.models import Arena, Horse, Instructor
from school.services.out import Out

TOLD = {
    OutKind.INSTRUCTOR: "The instructor can't come.",
    OutKind.HORSE: "The horse can't be ridden.",
    OutKind.ARENA: "The arena can't be ridden on.",
}
"""What clients are told of a lesson that falls out or is moved, unless told else."""


Choices = list[tuple[str, str | list[tuple[str, str]]]]


def _things() -> Choices:
    teachers = Instructor.objects.select_related("person")
    return [
        ("", "Choose"),
        (
            "Instructors",
            [
                (f"{OutKind.INSTRUCTOR}-{one.pk}", str(one))
                for one in teachers.order_by("person__first_name", "pk")
            ],
        ),
        (
            "Horses",
            [
                (f"{OutKind.HORSE}-{x.pk}", x.name)
                for x in Horse.objects.order_by("name")
            ],
        ),
        (
            "Arenas",
            [
                (f"{OutKind.ARENA}-{x.pk}", x.name)
                for x in Arena.objects.order_by("name")
            ],
        ),
    ]


class OutForm(forms.Form):
    """Asked by GET, so that the page of what is touched has an address."""

    what = forms.ChoiceField(label="Who or what is out?", choices=_things)
    reason = forms.CharField(
        max_length=120,
        label="Why? For the school alone",
        widget=forms.TextInput(attrs={"placeholder": "sick, lame, frozen"}),
    )
    day = forms.DateField(
        label="First day",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    since = forms.TimeField(
        required=False,
        label="Not before (empty: from its morning)",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    until_day = forms.DateField(
        required=False,
        label="Last day (empty: the first day)",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    until = forms.TimeField(
        required=False,
        label="Until (empty: to that day's end)",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    state = forms.ChoiceField(
        required=False,
        choices=HorseStateKind.choices,
        initial=HorseStateKind.UNFIT,
        label="Of a horse: what keeps it from work",
    )
    words = forms.CharField(
        required=False,
        max_length=120,
        label="What clients read where a lesson is cancelled or moved "
        "(empty: that it can't be)",
    )

    def out(self) -> Out:
        """Return what was given; a valid form's."""
        data = self.cleaned_data
        kind, _, pk = data["what"].partition("-")
        first = _moment(data["day"], data["since"] or time())
        last_day = data["until_day"] or data["day"]
        last = (
            _moment(last_day, data["until"])
            if data["until"]
            else _moment(last_day + timedelta(days=1), time())
        )
        return Out(
            kind=kind,
            pk=int(pk),
            first=first,
            last=last,
            reason=data["reason"].strip(),
            state=data["state"] or HorseStateKind.UNFIT,
        )

    def told(self) -> str:
        """Return what clients are told of a lesson that is cancelled or moved."""
        kind = self.cleaned_data["what"].partition("-")[0]
        return self.cleaned_data["words"].strip() or TOLD[OutKind(kind)]


def _moment(day: date, clock: time) -> datetime:
    zone = timezone.get_current_timezone()
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)
