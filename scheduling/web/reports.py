"""What a period amounts to, as a picture with its table, and as CSV."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from exercises.drawing.bars import Bars, draw_bars
from scheduling.services.reset_minutes import ResetWeek, reset_weeks
from school.models import Arena
from school.permissions import may_see_reports
from school.queries import reports
from school.queries.reports import Period
from school.queries.schools import the_school
from school.tables.writing import as_csv
from school.web.access import allowed

WEEKS, AHEAD, MOST_WEEKS = 12, 2, 53
"""Weeks shown where no period is asked for, how many of them are still to come, and
how many may be asked for at most."""


@dataclass(frozen=True, slots=True)
class Report:
    """A picture's numbers, and the table beside it: more columns than the picture.

    `note` says what is counted, and what is not.
    """

    bars: Bars
    headers: Sequence[str]
    rows: Sequence[Sequence[str]]
    note: str
    empty: bool = False


Maker = Callable[[Period, datetime], Report]


class PeriodForm(forms.Form):
    first = forms.DateField(
        label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    last = forms.DateField(
        label="Until", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def clean(self) -> dict[str, object]:
        """Refuse a period that ends before it begins, or is too long to be drawn."""
        data = super().clean() or {}
        first, last = data.get("first"), data.get("last")
        if first and last and not first <= last <= first + timedelta(weeks=MOST_WEEKS):
            self.add_error(
                "last", f"Give a day after the first one, {MOST_WEEKS} weeks at most."
            )
        return data


def _week(monday: date) -> str:
    return f"{monday.day} {monday:%b %y}"


def _hours(minutes: float) -> str:
    return f"{minutes / 60:.1f}"


def arena_use(period: Period, now: datetime) -> Report:
    """Hours of lessons in each arena, and their share of its opening hours."""
    arenas, weeks = list(Arena.objects.order_by("name", "pk")), period.weeks()
    used = reports.arena_minutes(period)
    rows = []
    for week in weeks:
        row = [week.isoformat()]
        for arena in arenas:
            minutes = used.get((week, arena.pk), 0)
            open_for = reports.open_minutes(arena) * period.days_of(week)
            row += [_hours(minutes), f"{100 * minutes / open_for:.0f}"]
        rows.append(row)
    return Report(
        Bars(
            [_week(one) for one in weeks],
            [
                (one.name, [used.get((week, one.pk), 0) / 60 for week in weeks])
                for one in arenas
            ],
            "h",
        ),
        ["Week of", *(f"{one.name}, {what}" for one in arenas
                      for what in ("hours", "% of opening hours"))],
        rows,
        "Lessons that hold their arena, also those still to come. Opening hours are "
        "those of every day; closures are not taken off.",
        empty=not used,
    )  # fmt: skip


def horse_hours(period: Period, now: datetime) -> Report:
    """Hours and lessons of each horse: done, and still to come."""
    work, weeks = reports.horse_work(period, now), period.days_until(now) / 7
    return Report(
        Bars(
            [one.horse.name for one in work],
            [
                ("Hours under a rider", [one.minutes / 60 for one in work]),
                ("Still to come", [one.minutes_ahead / 60 for one in work]),
            ],
            "h",
            stacked=True,
        ),
        ["Horse", "Lessons", "Hours", "Hours a week", "Hours still to come",
         "Limit a day (min)"],
        [
            [
                one.horse.name, str(one.lessons), _hours(one.minutes),
                _hours(one.minutes / weeks if weeks else 0),
                _hours(one.minutes_ahead), str(one.horse.max_minutes),
            ]
            for one in work
        ],
        "Every horse of the school, also those without a lesson in the period. Lessons "
        "that have begun; hours a week are those of the days gone by. Short waits "
        "tacked up are not in these hours; the work register has them.",
        empty=not any(one.lessons or one.minutes_ahead for one in work),
    )  # fmt: skip


def reset_minutes(period: Period, now: datetime) -> Report:
    """Minutes of changing fences, as booked and as planned."""
    known, weeks = reset_weeks(period), period.weeks()
    its = [known.get(week, ResetWeek()) for week in weeks]
    return Report(
        Bars(
            [_week(one) for one in weeks],
            [
                ("As booked", [one.booked_s / 60 for one in its]),
                ("As planned", [one.planned_s / 60 for one in its]),
            ],
            "min",
        ),
        ["Week of", "Days planned", "As booked (min)", "As planned (min)",
         "Saved (min)", "Days not possible as booked"],
        [
            [
                week.isoformat(), str(one.days), f"{one.booked_s / 60:.0f}",
                f"{one.planned_s / 60:.0f}",
                f"{(one.booked_s - one.planned_s) / 60:.0f}", str(one.unknown),
            ]
            for week, one in zip(weeks, its, strict=True)
        ],
        "Published plans, also of days still to come. Both sums are over the same "
        "days: a day that could not be held as booked has nothing to compare with and "
        "is only counted.",
        empty=not known,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Parts:
    """Counts by week in a fixed order of kinds."""

    kinds: Sequence[tuple[str, str]]
    note: str
    first: str = "Week of"
    found: dict[date, dict[str, int]] = field(default_factory=dict)


def _by_week(parts: _Parts, period: Period) -> Report:
    weeks = period.weeks()

    def count(week: date, kind: str) -> int:
        return parts.found.get(week, {}).get(kind, 0)

    return Report(
        Bars(
            [_week(one) for one in weeks],
            [
                (title, [count(week, kind) for week in weeks])
                for kind, title in parts.kinds
            ],
            "",
            stacked=True,
        ),
        [parts.first, *(title for _, title in parts.kinds), "All"],
        [
            [
                week.isoformat(),
                *(str(count(week, kind)) for kind, _ in parts.kinds),
                str(sum(count(week, kind) for kind, _ in parts.kinds)),
            ]
            for week in weeks
        ],
        parts.note,
        empty=not parts.found,
    )


def places(period: Period, now: datetime) -> Report:
    """Places kept, given back in time, given back late, missed, and still to come."""
    found = reports.places_by_week(period, the_school(), now)
    return _by_week(
        _Parts(
            [
                (reports.KEPT, "Kept"),
                (reports.IN_TIME, "Given back in time"),
                (reports.LATE, "Given back late"),
                (reports.MISSED, "Missed"),
                (reports.AHEAD, "Still to come"),
            ],
            "Kept are places whose lesson has begun. Late is inside the notice of the "
            "house rules. Missed are those whose riders did not come, or too late to "
            "ride, as noted on the day. Places of cancelled lessons are left out.",
            found={week: dict(counts) for week, counts in found.items()},
        ),
        period,
    )


def levels(period: Period, now: datetime) -> Report:
    """Riders by level."""
    counts = reports.riders_by_level(period, now)
    return Report(
        Bars(
            [one.level for one in counts],
            [
                ("Rode in the period", [one.rode for one in counts]),
                ("Still to ride in it", [one.ahead for one in counts]),
                ("All riders", [one.known for one in counts]),
            ],
            "",
        ),
        ["Level", "Rode in the period", "Still to ride in it", "All riders"],
        [[one.level, str(one.rode), str(one.ahead), str(one.known)] for one in counts],
        "By the level as it is now. Who rode already and is booked again is in both.",
        empty=not any(one.known for one in counts),
    )


def kinds(period: Period, now: datetime) -> Report:
    """Lessons by kind, flat and jumping."""
    counts = reports.lessons_by_kind(period)
    return Report(
        Bars(
            [one.kind for one in counts],
            [
                ("Flat", [one.flat for one in counts]),
                ("Jumping", [one.jumping for one in counts]),
            ],
            "",
        ),
        ["Kind", "Flat", "Jumping", "Places kept"],
        [
            [one.kind, str(one.flat), str(one.jumping), str(one.places)]
            for one in counts
        ],
        "Lessons that hold their arena, also those still to come. Jumping on the "
        "lead-rein is poles and a low cross; it is no jumping in a "
        "horse's work.",
        empty=not any(one.flat + one.jumping for one in counts),
    )


def ridden(period: Period, now: datetime) -> Report:
    """How grids were ridden against how they were planned."""
    found = reports.ridden_by_week(period, now)
    return _by_week(
        _Parts(
            [
                (reports.AS_PLANNED, "Every stage, as built"),
                (reports.OTHERWISE, "Built otherwise"),
                (reports.SHORTER, "Fewer stages"),
                (reports.NOT_JUMPED, "Not jumped"),
                (reports.UNLOGGED, "Not logged"),
            ],
            "Lessons with a grid that have begun, by the log that holds. Fewer stages "
            "is no fault: the coach decides on the day.",
            found={week: dict(counts) for week, counts in found.items()},
        ),
        period,
    )


REPORTS: dict[str, tuple[str, Maker]] = {
    "arena-use": ("Arena use", arena_use),
    "horse-hours": ("Horse hours", horse_hours),
    "reset-minutes": ("Changing fences", reset_minutes),
    "places": ("Places kept, given back and missed", places),
    "kinds": ("Lessons by kind", kinds),
    "levels": ("Level of the riders", levels),
    "ridden": ("Ridden and planned", ridden),
}


def _asked(request: HttpRequest, now: datetime) -> tuple[PeriodForm, Period]:
    """Return the form and the period it says, the usual one where it says none."""
    zone = ZoneInfo(the_school().zone)
    monday = reports.week_of(now.astimezone(zone).date())
    last = monday + timedelta(days=7 * AHEAD + 6)
    usual = {"first": last - timedelta(days=7 * WEEKS - 1), "last": last}
    form = PeriodForm(request.GET if "first" in request.GET else None, initial=usual)
    said = form.cleaned_data if form.is_bound and form.is_valid() else usual
    return form, Period(said["first"], said["last"], zone)


@require_safe
@allowed(may_see_reports)
def report_page(request: HttpRequest, slug: str) -> HttpResponse:
    if slug not in REPORTS:
        raise Http404
    title, make = REPORTS[slug]
    now = timezone.now()
    form, period = _asked(request, now)
    report = make(period, now)
    context = {
        "slug": slug,
        "title": title,
        "reports": [(one, words) for one, (words, _) in REPORTS.items()],
        "form": form,
        "period": period,
        "asked": f"?first={period.first}&last={period.last}",
        "report": report,
        "picture": draw_bars(
            report.bars, ident="report", title=title,
            says="The table below says the same.",
        ),
    }  # fmt: skip
    status = 200 if not form.is_bound or form.is_valid() else 409
    return render(request, "scheduling/report.html", context, status=status)


@require_safe
@allowed(may_see_reports)
def report_csv(request: HttpRequest, slug: str) -> HttpResponse:
    if slug not in REPORTS:
        raise Http404
    now = timezone.now()
    form, period = _asked(request, now)
    if form.is_bound and not form.is_valid():
        raise Http404
    report = REPORTS[slug][1](period, now)
    response = HttpResponse(
        as_csv(report.headers, report.rows), content_type="text/csv"
    )
    name = f"{slug}-{period.first}-{period.last}.csv"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "no-store"
    return response
