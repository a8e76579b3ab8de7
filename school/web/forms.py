"""Forms of the lesson pages; what is refused is said beside what was typed."""

from calendar import day_name
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from exercises.models import Exercise, ExerciseRevision
from school.enums import GroundNow, LessonKind, Level, Tradition, Work
from school.models import Arena, Horse, Instructor, Rider, Term

MOST_RIDERS = 4
FARTHEST = timedelta(days=731)
"""So far from today a lesson may be booked or moved."""


class MomentForm(forms.Form):
    """A day and a clock time, in the school's zone."""

    date = forms.DateField(
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    start = forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}))

    def clean_date(self) -> Any:
        """Refuse a year that can only be mistyped."""
        day = self.cleaned_data["date"]
        if day and abs((day - timezone.localdate()).days) > FARTHEST.days:
            raise forms.ValidationError(
                f"{day.isoformat()} is more than two years away; look at the year."
            )
        return day

    def moment(self) -> datetime:
        """Return the aware moment that was given."""
        return datetime.combine(
            self.cleaned_data["date"],
            self.cleaned_data["start"],
            tzinfo=timezone.get_current_timezone(),
        )


class BookForm(MomentForm):
    """A lesson to be booked; `wish` is the one on the waiting list that it meets."""

    no_horse = "no horse yet"

    wish = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    title = forms.CharField(max_length=120)
    kind = forms.ChoiceField(choices=LessonKind.choices)
    work = forms.ChoiceField(choices=Work.choices)
    minutes = forms.IntegerField(min_value=10, max_value=240, initial=60)
    arena = forms.ModelChoiceField(Arena.objects.order_by("name"))
    instructor = forms.ModelChoiceField(
        Instructor.objects.select_related("person").order_by("person__first_name", "pk")
    )
    places = forms.IntegerField(min_value=1, max_value=12, initial=1)
    start = forms.TimeField(
        required=False, widget=forms.TimeInput(attrs={"type": "time"})
    )
    window_from = forms.TimeField(
        required=False,
        label="May start from (leave empty for a fixed time)",
        widget=forms.TimeInput(attrs={"type": "time"}),
    )
    window_to = forms.TimeField(
        required=False,
        label="May start until",
        widget=forms.TimeInput(attrs={"type": "time"}),
    )
    exercise = forms.ModelChoiceField(
        Exercise.objects.filter(current__isnull=False)
        .select_related("current")
        .order_by("name"),
        required=False,
        empty_label="no grid, or not known yet",
        label="Grid",
    )
    until = forms.DateField(
        required=False,
        label="Every week until (leave empty for one lesson)",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    term = forms.ModelChoiceField(
        Term.objects.order_by("-first_date"),
        required=False,
        label="Every week to the end of a term",
        empty_label="no term",
    )
    not_on = forms.CharField(
        required=False,
        max_length=300,
        label="Not on these days, as 2027-04-27, parted by commas",
    )

    public_holidays = forms.BooleanField(
        required=False, initial=True, label="Not on public holidays"
    )

    def clean_not_on(self) -> list[date]:
        """Return the days that were named; refuse what is no day, and say which."""
        days = []
        for word in self.cleaned_data["not_on"].replace(",", " ").split():
            try:
                days.append(date.fromisoformat(word))
            except ValueError:
                raise forms.ValidationError(
                    f"{word} is no day; write it as 2027-04-27."
                ) from None
        return days

    def clean(self) -> dict[str, Any]:
        """Let a term say until when; its first lesson lies in it."""
        data = super().clean() or {}
        term, day = data.get("term"), data.get("date")
        if term and day:
            if not term.first_date <= day <= term.last_date:
                self.add_error(
                    "date",
                    f"{term.name} is from {term.first_date.isoformat()} to "
                    f"{term.last_date.isoformat()}: begin within it.",
                )
            data["until"] = min(data.get("until") or term.last_date, term.last_date)
        self._clean_window(data)
        if data.get("exercise") and data.get("work") == Work.FLAT:
            self.add_error("exercise", "A flat lesson takes no grid.")
        return data

    def revision(self) -> ExerciseRevision | None:
        """Return the grid as it is now, where one is asked for."""
        exercise = self.cleaned_data["exercise"]
        return None if exercise is None else exercise.current

    def _clean_window(self, data: dict[str, Any]) -> None:
        """Let a window say the start where none is given; a fixed time has none."""
        if "start" not in self.fields:
            return
        first, last = data.get("window_from"), data.get("window_to")
        data["start"] = data.get("start") or first
        if not data["start"] and "start" not in self.errors:
            self.add_error("start", "Say when it starts, or from when it may.")
        if (first is None) != (last is None):
            self.add_error("window_to", "Say both, from when and until when.")
        elif first and last and first > last:
            self.add_error("window_to", "It may start until a later time than from.")

    def window(self) -> tuple[datetime | None, datetime | None]:
        """Return between which moments the lesson may start; None where fixed."""
        first, last = (self.cleaned_data[f"window_{one}"] for one in ("from", "to"))
        if not first or first == last:
            return None, None
        zone, day = timezone.get_current_timezone(), self.cleaned_data["date"]
        return (
            datetime.combine(day, first, tzinfo=zone),
            datetime.combine(day, last, tzinfo=zone),
        )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # One query each: the same lists serve every row of the form.
        riders = [("", "nobody")] + [
            (str(one.pk), str(one))
            for one in Rider.objects.select_related("person").order_by(
                "person__first_name", "pk"
            )
        ]
        horses = [("", self.no_horse)] + [
            (str(one.pk), one.name) for one in Horse.objects.order_by("name")
        ]
        for n in range(1, MOST_RIDERS + 1):
            self.fields[f"rider_{n}"] = forms.ChoiceField(
                choices=riders, required=False, label=f"Rider {n}"
            )
            self.fields[f"horse_{n}"] = forms.ChoiceField(
                choices=horses, required=False, label=f"Horse of rider {n}"
            )

    def rides(self) -> list[tuple[Rider, Horse | None]]:
        """Return the riders given, each with a horse or none."""
        pairs = []
        for n in range(1, MOST_RIDERS + 1):
            rider = self.cleaned_data[f"rider_{n}"]
            horse = self.cleaned_data[f"horse_{n}"]
            if rider:
                pairs.append(
                    (
                        Rider.objects.select_related("person").get(pk=rider),
                        Horse.objects.get(pk=horse) if horse else None,
                    )
                )
        return pairs


def with_slot(data: QueryDict) -> QueryDict:
    """Return what was sent, with the start and arena of a slot that was pressed.

    A slot is "10:30|3": its start and its arena's key.
    """
    start, _, arena = data.get("slot", "").partition("|")
    if not arena:
        return data
    changed = data.copy()
    changed["start"], changed["arena"] = start, arena
    return changed


class LevelAskedForm(forms.Form):
    level = forms.ChoiceField(
        choices=[("", "no level"), *Level.choices],
        required=False,
        label="The lesson asks for",
    )
    later = forms.BooleanField(
        required=False, label="All to come of a weekly lesson too"
    )


class ClearForm(forms.Form):
    needs_clear = forms.BooleanField(
        required=False, label="Nothing may stand in the arena (beginners, the lunge)"
    )
    later = forms.BooleanField(
        required=False, label="All to come of a weekly lesson too"
    )


class WishForm(forms.Form):
    """A time that would suit, for one of a client's riders."""

    rider = forms.TypedChoiceField(coerce=int, label="Who")
    work = forms.ChoiceField(choices=Work.choices, label="What")
    weekday = forms.TypedChoiceField(
        choices=[("", "Any day"), *((str(n), day) for n, day in enumerate(day_name))],
        coerce=int,
        empty_value=None,
        required=False,
        label="Day",
    )
    from_at = forms.TimeField(
        widget=forms.TimeInput(attrs={"type": "time"}), label="Earliest start"
    )
    to_at = forms.TimeField(
        widget=forms.TimeInput(attrs={"type": "time"}), label="Latest start"
    )
    note = forms.CharField(
        max_length=300, required=False, label="Anything else (optional)"
    )

    def __init__(self, *args: Any, riders: list[Rider], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = [(str(one.pk), one.person.first_name) for one in riders]
        self.fields["rider"] = forms.TypedChoiceField(
            choices=names, coerce=int, label="Who"
        )


class GridForm(forms.Form):
    exercise = forms.ModelChoiceField(
        Exercise.objects.filter(current__isnull=False).order_by("name")
    )
    tradition = forms.ChoiceField(choices=Tradition.choices)
    ground = forms.MultipleChoiceField(
        choices=GroundNow.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Going and slope that day",
    )
