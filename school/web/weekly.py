"""A lesson that is booked every week."""

from datetime import date, datetime

from school.models import Account, LessonSeries
from school.queries.holidays import holidays_of
from school.queries.schools import the_school
from school.queries.series import weeks_of
from school.queries.terms import breaks_of
from school.services.series import start_series
from school.services.series_parts import SeriesPlan
from school.web.forms import BookForm


def book_weekly(
    form: BookForm, *, by: Account, now: datetime, overrule: str = ""
) -> LessonSeries:
    """Book what a form asks for every week, all weeks or none."""
    data = form.cleaned_data
    skip: dict[date, str] = {}
    first, last = data["window_from"], data["window_to"]
    if first == last:
        first = last = None
    if data["public_holidays"]:
        skip = holidays_of(the_school(), data["date"], data["until"])
    term = data["term"]
    if term is not None:
        weeks = weeks_of(data["date"], data["until"])
        breaks = breaks_of(term)
        skip |= {day: breaks[day] for day in weeks if day in breaks}
    skip |= dict.fromkeys(data.get("not_on") or [], "not held")
    return start_series(
        plan=SeriesPlan(
            name=data["title"],
            kind=data["kind"],
            work=data["work"],
            arena=data["arena"],
            instructor=data["instructor"],
            local_start=data["start"],
            minutes=data["minutes"],
            places=data["places"],
            window_from=first,
            window_to=last,
        ),
        first_date=data["date"],
        last_date=data["until"],
        skip=skip,
        rides=form.rides(),
        revision=form.revision(),
        term=term,
        by=by,
        now=now,
        overrule=overrule,
    )
