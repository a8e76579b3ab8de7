"""Weekly lessons on their pages: joined, left, skipped, changed and ended."""

from datetime import date, time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from exercises.models import Exercise
from exercises.services import load_library
from school.enums import HOLDING_STATES
from school.models import LessonSeries, Ride, School
from tests.factories.arenas import ArenaFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import plan, weekly

pytestmark = pytest.mark.django_db
WEEK = timedelta(days=7)


def christmas() -> date:
    """The next Christmas Day that lies more than two weeks ahead."""
    today = timezone.localdate()
    this = date(today.year, 12, 25)
    return this if this - 3 * WEEK > today else date(today.year + 1, 12, 25)


@pytest.fixture
def first() -> date:
    return christmas() - 2 * WEEK


@pytest.fixture
def series(first: date) -> LessonSeries:
    SchoolFactory(country="NL")
    return weekly(
        first_date=first,
        last_date=first + 4 * WEEK,
        now=timezone.now(),
        rides=[(RiderFactory(person__first_name="Mira"), None)],
    )


@pytest.fixture
def manager(client: Browser, series: LessonSeries) -> Browser:
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def press(manager: Browser, series: LessonSeries, verb: str, **fields):
    data = {f"{verb}-{name}": value for name, value in fields.items()}
    return manager.post(f"/weekly/{series.pk}/{verb}/", data, follow=True)


def held(series: LessonSeries) -> list[date]:
    lessons = series.lessons.filter(state__in=HOLDING_STATES)
    return sorted(lessons.values_list("series_date", flat=True))


def test_the_list_says_when_where_and_how_many_ride(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    page = manager.get("/weekly/").content.decode()

    assert f"{first:%A} 17:00" in page
    assert f'<a href="/weekly/{series.pk}/">Tuesday group</a>' in page
    assert "1 of 4" in page


def test_a_rider_joins_from_a_day_on(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    rider = RiderFactory(person__first_name="Nele")

    page = press(manager, series, "join", rider=rider.pk, first_date=first + WEEK)

    assert "Nele has a place in 4 lessons." in page.content.decode()
    assert Ride.objects.filter(rider=rider, state="booked").count() == 4


def test_a_rider_leaves_from_a_day_on(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    ride = Ride.objects.first()

    page = press(
        manager, series, "leave",
        rider=ride.rider_id, first_date=first + 2 * WEEK, reason="moves away",
    )  # fmt: skip

    assert "Mira gave 3 places back." in page.content.decode()
    assert Ride.objects.filter(state="booked").count() == 2


def test_a_day_is_skipped_with_its_reason(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    page = press(manager, series, "skip", day=first + WEEK, reason="clinic")

    assert first + WEEK not in held(series)
    assert "clinic" in page.content.decode()


def test_public_holidays_are_pointed_out_and_skipped_by_a_press(
    manager: Browser, series: LessonSeries
) -> None:
    """25 December and 1 January are public holidays in the Netherlands: the
    `holidays` library, which lists the law it goes by."""
    page = manager.get(f"/weekly/{series.pk}/").content.decode()
    assert "2 of these lessons fall on a public holiday" in page
    assert "Christmas Day" in page

    for _ in range(2):
        manager.post(f"/weekly/{series.pk}/holidays/")

    assert christmas() not in held(series)
    assert len(held(series)) == 3


def test_it_is_held_otherwise_from_a_day_on(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    page = press(
        manager, series, "change",
        first_date=first + WEEK, name="Tuesday group", kind="group", work="jumping",
        weekday=series.weekday, local_start="18:00", minutes=45,
        arena=series.arena_id, instructor=series.instructor_id, places=4,
    )  # fmt: skip

    after = LessonSeries.objects.exclude(pk=series.pk).get()
    assert page.redirect_chain[-1][0] == f"/weekly/{after.pk}/"
    assert (len(held(series)), len(held(after))) == (1, 4)
    assert after.split_from == series


def test_it_ends(manager: Browser, series: LessonSeries, first: date) -> None:
    press(manager, series, "end", last_date=first + WEEK, reason="summer")

    assert held(series) == [first, first + WEEK]


def test_a_refusal_says_why_and_keeps_what_was_typed(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    mira = Ride.objects.first().rider

    page = press(manager, series, "join", rider=mira.pk, first_date=first)

    assert page.status_code == 409
    text = page.content.decode()
    assert "weeks can&#x27;t be booked, so none was" in text
    assert f'<option value="{mira.pk}" selected>' in text


@pytest.mark.parametrize(
    ("verb", "fields"), [("join", {}), ("end", {"last_date": "soon", "reason": "x"})]
)
def test_what_is_left_out_is_said_beside_its_field(
    manager: Browser, series: LessonSeries, verb: str, fields: dict
) -> None:
    page = press(manager, series, verb, **fields)

    assert page.status_code == 409
    assert 'class="error"' in page.content.decode()
    assert len(held(series)) == 5


def test_an_unknown_verb_or_series_is_not_found(
    manager: Browser, series: LessonSeries
) -> None:
    assert manager.post(f"/weekly/{series.pk}/dance/").status_code == 404
    assert manager.get("/weekly/999999/").status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_pages_take_a_constant_number_of_queries(
    manager: Browser, series: LessonSeries, first: date, n: int,
    django_assert_num_queries,
) -> None:  # fmt: skip
    for k in range(n - 1):
        weekly(
            plan=plan(name=f"Other {k}", arena=series.arena, local_start=time(9 + k)),
            first_date=first,
            last_date=first + 2 * WEEK,
            now=timezone.now(),
        )
    for k in range(n):
        press(
            manager, series, "join",
            rider=RiderFactory(person__first_name=f"R{k}").pk, first_date=first,
        )  # fmt: skip

    with django_assert_num_queries(4):
        manager.get("/weekly/")
    with django_assert_num_queries(15):
        manager.get(f"/weekly/{series.pk}/")


def test_a_weekly_booking_leaves_public_holidays_out(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    form = {
        "title": "Holiday-wise", "kind": "group", "work": "flat", "minutes": 45,
        "date": first, "start": "11:00", "until": first + 4 * WEEK, "places": 3,
        "arena": series.arena_id, "instructor": series.instructor_id,
        "public_holidays": "on",
    }  # fmt: skip

    manager.post("/lessons/new/", form)

    booked = LessonSeries.objects.get(name="Holiday-wise")
    assert len(held(booked)) == 3
    assert booked.exceptions.filter(reason="Christmas Day").exists()


def test_a_school_without_a_country_knows_no_holidays(
    manager: Browser, series: LessonSeries
) -> None:
    School.objects.update(country="")

    assert "public holiday" not in manager.get(f"/weekly/{series.pk}/").content.decode()


@pytest.mark.parametrize("verb", ["leave", "skip", "end"])
def test_what_was_ridden_is_not_rewritten(
    manager: Browser, series: LessonSeries, verb: str
) -> None:
    past = timezone.localdate() - timedelta(days=3)
    fields = {
        "leave": {"first_date": past, "rider": Ride.objects.first().rider_id},
        "skip": {"day": past},
        "end": {"last_date": past},
    }[verb]

    page = press(manager, series, verb, reason="late", **fields)

    assert page.status_code == 409
    assert "stays as it was" in page.content.decode()
    assert Ride.objects.filter(state="booked").count() == 5


def test_a_day_of_it_asks_whether_it_is_this_one_or_from_here_on(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    lesson = series.lessons.order_by("starts_at")[1]
    onward = f"/weekly/{series.pk}/?from={lesson.series_date}"

    for page in (f"/lessons/{lesson.pk}/", f"/board/lessons/{lesson.pk}/"):
        shown = manager.get(page).content.decode()
        assert "this one only</strong>, and the other weeks stay" in shown
        assert f'{onward}#from-here-on">Change it from here on' in shown
    page = manager.get(onward)
    assert page.context["open"] == "change"
    form = page.context["forms"]["change"]
    assert form["first_date"].value() == lesson.series_date


@pytest.mark.parametrize("day", ["soon", "2020-01-01"])
def test_a_day_that_is_none_of_it_opens_nothing(
    manager: Browser, series: LessonSeries, day: str
) -> None:
    page = manager.get(f"/weekly/{series.pk}/?from={day}")

    assert (page.status_code, page.context["open"]) == (200, "")


def test_a_window_is_given_from_a_day_on_and_shown(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    page = manager.get(f"/weekly/{series.pk}/")
    form = page.context["forms"]["change"]
    sent = {one.html_name: one.value() for one in form}
    sent = {key: value for key, value in sent.items() if value not in (None, "")}
    sent |= {"change-window_from": "15:30", "change-window_to": "18:00"}

    answer = manager.post(f"/weekly/{series.pk}/change/", sent, follow=True)

    page = answer.content.decode()
    assert "may start from 15:30 to 18:00" in page
    assert "from 15:30 to 18:00</span>" in page
    assert "15:30 to 18:00</td>" in manager.get("/weekly/").content.decode()


def changed(manager: Browser, series: LessonSeries, first: date, **fields) -> str:
    form = manager.get(f"/weekly/{series.pk}/").context["forms"]["change"]
    sent = {one.html_name: one.value() for one in form}
    sent = {key: value for key, value in sent.items() if value not in (None, "")}
    sent |= {f"change-{name}": value for name, value in fields.items()}
    sent["change-first_date"] = first
    answer = manager.post(f"/weekly/{series.pk}/change/", sent, follow=True)
    return answer.content.decode()


def test_a_change_names_the_holidays_it_falls_on(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    """26 December is a public holiday in the Netherlands too (the `holidays` library),
    the day after Christmas Day."""
    after = (series.weekday + 1) % 7
    page = changed(manager, series, first, weekday=after)

    day = christmas() + timedelta(days=1)
    if after == 0:
        day -= WEEK
    assert f"Held on public holidays now: {day.day} {day:%B} (" in page


def test_a_change_names_the_days_with_too_little_light(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    """In the middle of the Netherlands the sun sets between 16:27 and 16:50 from
    11 December to 10 January (from memory; checked with astral): an hour from 15:20
    ends within the last half hour of light."""
    School.objects.update(latitude=52.1, longitude=5.1)
    ring = ArenaFactory(name="Ring", indoor=False, lit=False, opens_at=time(8))

    page = changed(
        manager, series, first, arena=ring.pk, local_start="15:20", minutes=60
    )

    assert "Too little light on 5 of 5 days" in page
    assert f"{christmas().day} {christmas():%B}" in page


def test_a_grid_is_given_from_a_day_on_and_taken_off_again(
    manager: Browser, series: LessonSeries, first: date
) -> None:
    load_library(now=timezone.now())
    grid = Exercise.objects.get(slug="bounce-pair")

    refused = changed(manager, series, first, grids=grid.pk)
    flat = changed(manager, series, first, grids=grid.pk, work="flat")
    off = changed(manager, series, first, grids="off")

    assert "a horse first" in refused
    assert "A flat lesson takes no grid." in flat
    assert "is so from" in off
