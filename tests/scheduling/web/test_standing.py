"""What really stands: three taps, and the rest of the day is planned anew."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from scheduling.models import PlanRun, Standing
from school.models import Line
from tests.clock import NOW
from tests.factories.arenas import LineFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import ChangeoverFactory, DayPlanFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, pole, vertical

pytestmark = pytest.mark.django_db


@pytest.fixture
def line() -> Line:
    SchoolFactory(hole_cm=10, height_unit="holes")
    made = LineFactory(name="Centre")
    Standing.objects.create(
        line=made, elements=[pole(200), cross(470), vertical(1070, 60)], as_of_at=NOW
    )
    return made


@pytest.fixture
def renske(client: Browser, line: Line) -> Browser:
    client.force_login(AccountFactory(person=GroundspersonFactory().person))
    return client


def press(browser: Browser, line: Line, do: str, n: int = 1, **more: str):
    seen = Standing.objects.get(line=line).as_of_at.isoformat()
    return browser.post(
        f"/standing/{line.pk}/", {"do": do, "n": n, "seen": seen} | more, follow=True
    )


def stands(line: Line) -> list[tuple[str, int, int]]:
    return [
        (one["kind"], one["at_cm"], one.get("height_cm", 0))
        for one in Standing.objects.get(line=line).elements
    ]


@pytest.mark.parametrize(
    ("do", "n", "more", "left"),
    [
        ("gone", 1, {}, [("pole", 200, 0), ("vertical", 1070, 60)]),
        ("lower", 2, {},
         [("pole", 200, 0), ("cross", 470, 40), ("vertical", 1070, 50)]),
        ("higher", 1, {},
         [("pole", 200, 0), ("cross", 470, 50), ("vertical", 1070, 60)]),
        ("moved", 0, {"to": "12.50 m"},
         [("cross", 470, 40), ("vertical", 1070, 60), ("pole", 1250, 0)]),
        ("nothing", 0, {}, []),
    ],
)  # fmt: skip
def test_a_press_says_what_stands(
    renske: Browser, line: Line, do: str, n: int, more: dict, left: list
) -> None:
    page = press(renske, line, do, n, **more)

    assert stands(line) == left
    assert "Centre is kept as it stands." in page.content.decode()


@pytest.mark.parametrize(
    ("do", "n", "more", "says"),
    [
        ("moved", 0, {"to": "far"}, "is no length"),
        ("moved", 0, {"to": "900 m"}, "beyond the end"),
        ("gone", 9, {}, "choose one of the elements"),
        ("gone", -1, {}, "choose one of the elements"),
        ("dance", 0, {}, "choose one of the corrections"),
    ],
)
def test_what_cannot_be_is_said_and_changes_nothing(
    renske: Browser, line: Line, do: str, n: int, more: dict, says: str
) -> None:
    before = stands(line)

    page = press(renske, line, do, n, **more)

    assert page.status_code == 409
    assert says in page.content.decode()
    assert stands(line) == before


def test_who_looked_at_an_older_state_is_told(renske: Browser, line: Line) -> None:
    old = {"do": "gone", "n": 0, "seen": Standing.objects.get().as_of_at.isoformat()}
    press(renske, line, "gone", 0)

    page = renske.post(f"/standing/{line.pk}/", old)

    assert page.status_code == 409
    assert "while you looked" in page.content.decode()
    assert len(stands(line)) == 2


def test_the_rest_of_the_day_is_planned_anew_and_who_is_touched_is_said(
    renske: Browser, line: Line
) -> None:
    now = timezone.now()
    lesson = LessonFactory(
        title="Evening ride",
        starts_at=now + timedelta(minutes=5),
        instructor__person__first_name="Ines",
    )
    ChangeoverFactory(
        plan=DayPlanFactory(state="published", date=timezone.localdate()),
        line=line,
        lesson=lesson,
        starts_at=now,
        ends_at=now + timedelta(minutes=4),
    )

    page = press(renske, line, "gone", 0)
    press(renske, line, "gone", 0)

    text = page.content.decode()
    assert "Touched: Evening ride at" in text
    assert "(Ines)" in text
    assert [(one.kind, one.date) for one in PlanRun.objects.all()] == [
        ("replan", timezone.localdate())
    ]


def test_an_instructor_looks_and_does_not_press(client: Browser, line: Line) -> None:
    instructor = LessonFactory().instructor
    client.force_login(AccountFactory(person=instructor.person))

    page = client.get("/standing/").content.decode()

    assert "cross" in page
    assert "Not there" not in page


def test_a_line_that_is_not_there_is_not_found(renske: Browser) -> None:
    assert renske.post("/standing/9999/", {"do": "gone"}).status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_page_takes_a_constant_number_of_queries(
    renske: Browser, line: Line, n: int, django_assert_num_queries
) -> None:
    for _ in range(n - 1):
        Standing.objects.create(
            line=LineFactory(), elements=[pole(0), cross(300)], as_of_at=NOW
        )

    with django_assert_num_queries(9):
        renske.get("/standing/")
