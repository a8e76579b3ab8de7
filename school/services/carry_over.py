"""Weekly lessons carried from one term into the next, with who rides in them."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db import transaction

from school.models import Account, Horse, LessonSeries, Ride, Rider, Term
from school.queries.lessons import day_bounds
from school.queries.schools import one_school, school_zone, the_school
from school.queries.series import weeks_of
from school.queries.terms import (
    away_in,
    days_without_lessons,
    first_in,
    going_on_from,
    last_riders,
    papers_ending,
)
from school.services.refusals import UnableToBook
from school.services.series import start_series
from school.services.series_parts import SeriesPlan, day_words

Pairs = list[tuple[Rider, Horse | None]]


@dataclass(frozen=True, slots=True)
class Carried:
    """What becomes of one weekly lesson in the next term.

    `left_out` are the weeks it is not held in, `notes` what should be looked at;
    a `refusal` says why it can't go on.
    """

    series: LessonSeries
    days: list[date]
    left_out: dict[date, str] = field(default_factory=dict)
    riders: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    refusal: str = ""


Tell = Callable[[int, int], None]


def _nobody(done: int, of: int) -> None:
    """Tell nobody how many of how many are done."""


def try_carrying(
    *,
    old: Term,
    new: Term,
    by: Account | None,
    now: datetime,
    on_progress: Tell = _nobody,
) -> list[Carried]:
    """Say of every weekly lesson of a term how it would go on; nothing is written.

    They are tried after each other as they would be booked, so that one that stands
    in another's way is found. `on_progress` is told before each how many are done,
    of how many; what it raises ends the trial.
    """
    found = []
    with transaction.atomic(), one_school():
        without = days_without_lessons(the_school(), new)
        going_on = going_on_from(old, new)
        for done, series in enumerate(going_on):
            on_progress(done, len(going_on))
            found.append(_try(series, new, without, by, now))
        transaction.set_rollback(True)
    return found


def _try(
    series: LessonSeries,
    new: Term,
    without: Mapping[date, str],
    by: Account | None,
    now: datetime,
) -> Carried:
    carried, pairs = _prepared(series, new, without)
    try:
        with transaction.atomic():
            _book(carried, pairs, new, by, now)
    except UnableToBook as error:
        return Carried(
            series, carried.days, carried.left_out, carried.riders, carried.notes,
            error.says,
        )  # fmt: skip
    return carried


def carry_over(
    *,
    old: Term,
    new: Term,
    chosen: Iterable[int],
    by: Account | None,
    now: datetime,
    on_progress: Tell = _nobody,
) -> list[LessonSeries]:
    """Book the chosen weekly lessons of a term for the next, all or none.

    What is there already is left as it is, so twice is harmless. `on_progress` is
    told as in `try_carrying`.

    Raises
    ------
    UnableToBook
        Naming the first that can't go on, and why.
    """
    keys = set(chosen)
    booked = []
    with transaction.atomic(), one_school():
        Term.objects.select_for_update().get(pk=new.pk)
        without = days_without_lessons(the_school(), new)
        wanted = [one for one in going_on_from(old, new) if one.pk in keys]
        for done, series in enumerate(wanted):
            on_progress(done, len(wanted))
            carried, pairs = _prepared(series, new, without)
            try:
                booked.append(_book(carried, pairs, new, by, now))
            except UnableToBook as error:
                raise UnableToBook(
                    "not-carried",
                    f"{series.name} can't go on, so nothing was booked. {error.says}",
                ) from error
    return booked


def _prepared(
    series: LessonSeries, new: Term, without: Mapping[date, str]
) -> tuple[Carried, Pairs]:
    """Return how a weekly lesson would go on, and who rides which horse in it."""
    zone, rides = school_zone(), last_riders(series)
    weeks = list(weeks_of(first_in(new, series.weekday), new.last_date))
    since, until = day_bounds(new.first_date, zone)[0], day_bounds(
        new.last_date + timedelta(days=1), zone
    )[0]  # fmt: skip
    away = away_in(rides, since, until)
    pairs: Pairs = [
        (one.rider, None if one.horse_id in away else one.horse) for one in rides
    ]
    notes = [
        f"{away[one.horse_id]}: {one.rider.person.first_name} goes on without a horse."
        for one in rides
        if one.horse_id in away
    ]
    for paper in papers_ending(series.instructor_id, new.last_date):
        name = series.instructor.person.first_name
        day = f"{day_words(paper.expires_date)} {paper.expires_date:%Y}"
        notes.append(f"{name}'s {paper.name} ends {day}: have it renewed.")
    carried = Carried(
        series,
        days=[day for day in weeks if day not in without],
        left_out={day: without[day] for day in weeks if day in without},
        riders=[_words(one) for one in rides],
        notes=notes,
    )
    return carried, pairs


def _words(ride: Ride) -> str:
    horse = f" on {ride.horse}" if ride.horse else ""
    return f"{ride.rider.person.first_name}{horse}"


def _book(
    carried: Carried, pairs: Pairs, new: Term, by: Account | None, now: datetime
) -> LessonSeries:
    one = carried.series
    if not carried.days:
        raise UnableToBook(
            "no-days", "No day of the term is left for it: all are left out."
        )
    _check_papers(one, carried.days[0])
    return start_series(
        plan=SeriesPlan(
            name=one.name,
            kind=one.kind,
            work=one.work,
            arena=one.arena,
            instructor=one.instructor,
            local_start=one.local_start,
            minutes=one.minutes,
            places=one.places,
            window_from=one.window_from,
            window_to=one.window_to,
        ),
        first_date=first_in(new, one.weekday),
        last_date=new.last_date,
        skip=carried.left_out,
        rides=pairs,
        term=new,
        carried_from=one,
        by=by,
        now=now,
    )


def _check_papers(series: LessonSeries, first: date) -> None:
    """Refuse to book a term with somebody whose papers have ended before it."""
    for paper in papers_ending(series.instructor_id, first):
        raise UnableToBook(
            "papers-end",
            f"{series.instructor.person.first_name}'s {paper.name} ends "
            f"{day_words(paper.expires_date)}, before the term's first lesson.",
            instructor=series.instructor_id,
        )
