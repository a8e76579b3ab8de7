"""Terms: made, changed, with the breaks in them."""

from datetime import date, datetime

from django.db import IntegrityError, transaction

from school.models import Account, LessonSeries, Term, TermBreak
from school.queries.schools import school_zone
from school.services.audit import record, snapshot
from school.services.refusals import UnableToBook, refusal_of
from school.services.series import skip_days

MOST_DAYS = 366
"""Days of a term; longer is a slip."""


def set_term(
    *,
    name: str,
    first_date: date,
    last_date: date,
    by: Account | None,
    now: datetime,
    term: Term | None = None,
) -> Term:
    """Make a term, or change one; twice is harmless.

    Raises
    ------
    UnableToBook
        For days that make no term, that another has, or that would leave its
        breaks or weekly lessons outside.
    """
    name = name.strip()
    if not name:
        raise UnableToBook("name", "Give the term a name.", field="name")
    if not 0 <= (last_date - first_date).days < MOST_DAYS:
        raise UnableToBook(
            "dates",
            "A term ends after it begins, within a year.",
            field="last_date",
        )
    try:
        with transaction.atomic():
            every = Term.objects.select_for_update()
            known = every.filter(pk=term.pk) if term else every.filter(name=name)
            one = known.first() or Term()
            if term is None and one.pk and (one.first_date, one.last_date) != (
                first_date, last_date,
            ):  # fmt: skip
                raise UnableToBook(
                    "name", f"There is a term {name} already.", field="name"
                )
            before = snapshot(one) if one.pk else None
            one.name, one.first_date, one.last_date = name, first_date, last_date
            if before == snapshot(one):
                return one
            _check_series(one)
            one.save()
            action = "change term" if before else "make term"
            record(by=by, at=now, action=action, subject=one, before=before,
                   after=snapshot(one))  # fmt: skip
            return one
    except IntegrityError as error:
        if "school_term.name" in str(error) or "school_term_name" in str(error):
            raise UnableToBook(
                "name", f"There is a term {name} already.", field="name"
            ) from error
        raise refusal_of(error) from error


def _check_series(term: Term) -> None:
    if not term.pk:
        return
    its = LessonSeries.objects.filter(term=term)
    outside = (
        its.filter(first_date__lt=term.first_date).first()
        or its.filter(last_date__gt=term.last_date).first()
    )
    if outside is not None:
        raise UnableToBook(
            "series-outside",
            f"{outside.name} is booked for this term from {outside.first_date:%d %b} "
            f"to {outside.last_date:%d %b %Y}: end it first, or leave its days in.",
        )


def add_break(
    *,
    term: Term,
    name: str,
    first_date: date,
    last_date: date,
    by: Account | None,
    now: datetime,
) -> TermBreak:
    """Leave days of a term out, and hold none of its weekly lessons then.

    All or nothing; their clients are told. Twice is harmless.
    """
    name = name.strip()
    if not name:
        raise UnableToBook("name", "Say what the break is.", field="name")
    if last_date < first_date:
        raise UnableToBook(
            "dates", "A break ends on its first day or later.", field="last_date"
        )
    try:
        with transaction.atomic():
            fresh = Term.objects.select_for_update().get(pk=term.pk)
            one, new = TermBreak.objects.get_or_create(
                term=fresh,
                first_date=first_date,
                defaults={"name": name, "last_date": last_date},
            )
            if not new and (one.name, one.last_date) != (name, last_date):
                raise UnableToBook(
                    "break-twice",
                    f"{one.name} begins on that day already: take it out first.",
                    field="first_date",
                )
            if new:
                _leave_out(one, by, now)
                record(
                    by=by, at=now, action="add break", subject=one,
                    after=snapshot(one),
                )  # fmt: skip
            return one
    except IntegrityError as error:
        raise refusal_of(error) from error


def _leave_out(one: TermBreak, by: Account | None, now: datetime) -> None:
    today = now.astimezone(school_zone()).date()
    for series in LessonSeries.objects.filter(term=one.term).order_by("pk"):
        days = series.lessons.filter(
            series_date__gte=max(one.first_date, today),
            series_date__lte=one.last_date,
            starts_at__gt=now,
        ).exclude(state="cancelled")
        skip = dict.fromkeys(
            (day for day in days.values_list("series_date", flat=True) if day),
            one.name,
        )
        skip_days(series=series, days=skip, by=by, now=now)


def drop_break(*, term_break: TermBreak, by: Account | None, now: datetime) -> None:
    """Take a break out of its term; lessons it left out are not booked again."""
    with transaction.atomic():
        known = TermBreak.objects.select_for_update().filter(pk=term_break.pk).first()
        if known is not None:
            record(
                by=by, at=now, action="drop break", subject=known,
                before=snapshot(known),
            )  # fmt: skip
            known.delete()
