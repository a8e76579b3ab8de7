"""Terms on their pages: made, with breaks, booked for, carried over."""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.enums import HOLDING_STATES
from school.models import LessonSeries, Term
from tests.factories.arenas import ArenaFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import plan, weekly
from tests.factories.terms import TermBreakFactory, TermFactory

pytestmark = pytest.mark.django_db
WEEK = timedelta(days=7)


@pytest.fixture
def manager() -> Browser:
    SchoolFactory()
    browser = Browser()
    browser.force_login(AccountFactory(manager=True))
    return browser


def monday() -> date:
    today = timezone.localdate()
    return today + timedelta(days=7 - today.weekday())


def term_of(weeks: int, **changes) -> Term:
    first = monday()
    fields = {"first_date": first, "last_date": first + weeks * WEEK - WEEK / 7}
    return TermFactory(**(fields | changes))


def after(term: Term, name: str = "Next") -> Term:
    first = term.last_date + timedelta(days=1)
    return TermFactory(name=name, first_date=first, last_date=first + 4 * WEEK)


def test_a_term_is_made_and_shown(manager: Browser) -> None:
    first = monday()

    page = manager.post(
        "/terms/",
        {"name": "Winter", "first_date": first, "last_date": first + 8 * WEEK},
        follow=True,
    ).content.decode()

    assert "Winter is a term now." in page
    assert "Winter" in manager.get("/terms/").content.decode()


def test_what_overlaps_is_said(manager: Browser) -> None:
    term = term_of(4)

    page = manager.post(
        "/terms/",
        {
            "name": "Other",
            "first_date": term.last_date,
            "last_date": term.last_date + WEEK,
        },
    )

    assert page.status_code == 409
    assert "two terms never overlap" in page.content.decode()


def test_a_term_is_changed_and_a_wrong_change_said(manager: Browser) -> None:
    term = term_of(4)
    fields = {"name": "Other", "first_date": term.first_date}

    wrong = manager.post(f"/terms/{term.pk}/", fields | {"last_date": "soon"})
    manager.post(f"/terms/{term.pk}/", fields | {"last_date": term.last_date + WEEK})

    assert wrong.status_code == 409
    term.refresh_from_db()
    assert term.name == "Other"


def test_a_lesson_is_booked_for_a_term_without_its_breaks(manager: Browser) -> None:
    term = term_of(6)
    gap = TermBreakFactory(
        term=term, first_date=monday() + 2 * WEEK, last_date=monday() + 3 * WEEK
    )
    fields = {
        "title": "Monday group",
        "kind": "group",
        "work": "flat",
        "date": monday(),
        "start": "17:00",
        "minutes": 60,
        "arena": ArenaFactory().pk,
        "instructor": InstructorFactory().pk,
        "places": 4,
        "term": term.pk,
    }

    manager.post("/lessons/new/", fields)
    outside = manager.post(
        "/lessons/new/", fields | {"date": term.last_date + WEEK}
    ).content.decode()

    series = LessonSeries.objects.get()
    days = set(series.lessons.values_list("series_date", flat=True))
    assert series.term == term
    assert len(days) == 4
    assert not {gap.first_date, gap.last_date} & days
    assert "begin within it" in outside


def test_breaks_come_and_go(manager: Browser) -> None:
    term = term_of(6)
    series = weekly(
        term=term, first_date=monday(), last_date=term.last_date, now=timezone.now()
    )
    fields = {"break-first_date": monday(), "break-last_date": monday()}

    wrong = manager.post(f"/terms/{term.pk}/breaks/", fields | {"break-name": ""})
    manager.post(f"/terms/{term.pk}/breaks/", fields | {"break-name": "Show"})
    assert series.lessons.filter(state__in=HOLDING_STATES).count() == 5
    page = manager.post(
        f"/terms/breaks/{term.breaks.get().pk}/lift/", follow=True
    ).content.decode()

    assert wrong.status_code == 409
    assert "stay cancelled" in page
    assert not term.breaks.exists()


def test_what_runs_to_the_end_of_the_term_before_is_named(manager: Browser) -> None:
    old = term_of(3)
    new = after(old)
    for name in ("Tuesday group", "Ring group"):
        weekly(
            term=old, first_date=monday(), last_date=old.last_date, now=timezone.now(),
            plan=plan(name=name, arena=ArenaFactory()),
        )  # fmt: skip

    page = manager.get(f"/terms/{new.pk}/").content.decode()

    assert "2 weekly lessons of Spring run to its end" in page
    assert f'href="/terms/{new.pk}/carry-over/"' in page


@pytest.mark.parametrize(
    "path", ["/terms/9/", "/terms/9/breaks/", "/terms/breaks/9/lift/"]
)
def test_what_is_not_there_is_not_found(manager: Browser, path: str) -> None:
    assert manager.post(path).status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_pages_take_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    old = term_of(3)
    new = after(old)
    for k in range(n):
        TermBreakFactory(
            term=new, first_date=new.first_date + timedelta(days=k),
            last_date=new.first_date + timedelta(days=k),
        )  # fmt: skip
        for term in (old, new):
            weekly(
                term=term, first_date=term.first_date, last_date=term.first_date,
                now=timezone.now(), plan=plan(arena=ArenaFactory()),
            )  # fmt: skip
    for k in range(n - 1):
        TermFactory(
            name=f"Early {k}", first_date=date(2020 + k, 1, 1),
            last_date=date(2020 + k, 2, 1),
        )  # fmt: skip
    manager.get("/terms/")

    with django_assert_num_queries(LIST):
        manager.get("/terms/")
    with django_assert_num_queries(ONE):
        manager.get(f"/terms/{new.pk}/")


LIST, ONE = 9, 13
