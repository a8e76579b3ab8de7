"""A term carried over on its page: tried, watched, stopped, booked, refused."""

import pytest
from django.test import Client as Browser

from scheduling.models import PlanRun
from scheduling.services import works
from scheduling.services.runs import carry_out_run, take_up_run
from school.models import AuditEntry, Lesson, LessonSeries, OutboxMessage, Term
from tests.clock import NOW
from tests.factories.arenas import ArenaFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import plan, weekly
from tests.factories.terms import TermFactory
from tests.scheduling.services.terms import in_the_way, next_term, spring_term

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Browser:
    SchoolFactory()
    browser = Browser()
    browser.force_login(AccountFactory(manager=True))
    return browser


@pytest.fixture
def summer() -> Term:
    spring_term()
    return next_term()


def two_lessons() -> tuple[LessonSeries, LessonSeries]:
    spring = Term.objects.get(name="Spring")
    mila = RiderFactory(person__first_name="Mila")
    good = weekly(term=spring, rides=[(mila, None)])
    ring = ArenaFactory(name="Ring")
    return good, weekly(term=spring, plan=plan(name="Ring group", arena=ring))


def worked() -> None:
    """Let the worker do what was asked."""
    while (run := take_up_run(now=NOW)) is not None:
        carry_out_run(run=run, clock=lambda: NOW, beat_every_s=60)


def page(manager: Browser, term: Term) -> str:
    return manager.get(f"/terms/{term.pk}/carry-over/").content.decode()


def test_it_is_tried_by_the_worker_and_then_booked(manager, summer) -> None:
    good, bad = two_lessons()
    in_the_way(bad)
    path, lessons = f"/terms/{summer.pk}/carry-over/", Lesson.objects.count()

    offered = page(manager, summer)
    manager.post(path)
    waits = page(manager, summer)
    worked()
    tried = page(manager, summer)
    assert Lesson.objects.count() == lessons
    manager.post(path, {"book": "1", "series": [good.pk, "x"]})
    worked()
    booked = page(manager, summer)

    assert "2 weekly lessons of Spring run to its end" in offered
    assert "Waits for the worker." in waits
    assert "Stop, book nothing" in waits
    assert "8 lessons: Mila." in tried
    assert "taken by In the way" in tried
    assert "1 weekly lesson goes on: Tuesday group. Their clients are told." in booked
    assert [one.carried_from for one in LessonSeries.objects.filter(term=summer)] == [
        good
    ]


def test_what_can_not_go_on_stops_what_was_ticked_with_it(manager, summer) -> None:
    good, bad = two_lessons()
    path = f"/terms/{summer.pk}/carry-over/"
    manager.post(path)
    worked()
    in_the_way(bad)

    manager.post(path, {"book": "1", "series": [good.pk, bad.pk]})
    worked()
    shown = page(manager, summer)

    assert "Ring group can&#x27;t go on, so nothing was booked." in shown
    assert "Tue 18 May: Ring is taken by In the way" in shown
    assert "Book what is ticked" in shown
    assert not LessonSeries.objects.filter(term=summer).exists()


def test_pressed_twice_it_is_asked_and_booked_once(manager, summer) -> None:
    good, _ = two_lessons()
    path = f"/terms/{summer.pk}/carry-over/"
    fields = {"book": "1", "series": [good.pk]}

    manager.post(path, fields)
    manager.post(path, fields)
    assert PlanRun.objects.count() == 1
    worked()
    again = manager.post(path, fields, follow=True).content.decode()

    assert "All that was ticked is in this term already." in again
    assert PlanRun.objects.count() == 1
    assert LessonSeries.objects.filter(term=summer).count() == 1


def test_how_far_it_is_shows_while_it_is_at_work(manager, summer, monkeypatch) -> None:
    two_lessons()
    manager.post(f"/terms/{summer.pk}/carry-over/")
    seen = []

    def look(**asked) -> list[works.Carried]:
        asked["on_progress"](1, 2)
        seen.append(page(manager, summer))
        return []

    monkeypatch.setattr(works, "try_carrying", look)
    worked()

    assert "At work since" in seen[0]
    assert "1 of 2 weekly lessons tried" in seen[0]


def test_stopped_within_nothing_is_booked_and_it_is_said(
    manager, summer, monkeypatch
) -> None:
    good, bad = two_lessons()
    path = f"/terms/{summer.pk}/carry-over/"
    manager.post(path, {"book": "1", "series": [good.pk, bad.pk]})
    before = OutboxMessage.objects.count(), AuditEntry.objects.count()
    real, told = works.cache.set, []

    def stop_at_the_second(key: str, value: object, *more: object) -> None:
        real(key, value, *more)
        if value == (1, 2):
            told.append(key)
            works.ask_work_to_stop(run)

    run = PlanRun.objects.get()
    monkeypatch.setattr(works.cache, "set", stop_at_the_second)
    # The second lesson is asked for once more after the press.
    real_carry = works.carry_over

    def carry(**asked):
        tell = asked.pop("on_progress")
        return real_carry(**asked, on_progress=lambda n, of: (tell(n, of), tell(n, of)))

    monkeypatch.setattr(works, "carry_over", carry)
    worked()
    shown = page(manager, summer)

    assert told
    assert "Stopped at 12:00:00. Nothing was booked." in shown
    assert not LessonSeries.objects.filter(term=summer).exists()
    assert (OutboxMessage.objects.count(), AuditEntry.objects.count()) == before


def test_the_press_that_stops_it_says_so(manager, summer) -> None:
    two_lessons()
    manager.post(f"/terms/{summer.pk}/carry-over/")
    run = take_up_run(now=NOW)
    assert run is not None

    said = manager.post(f"/runs/{run.pk}/stop/", follow=True).content.decode()
    carry_out_run(run=run, clock=lambda: NOW, beat_every_s=60)

    assert "It is told to stop; nothing is booked." in said
    assert PlanRun.objects.get().state == "stopped"


def test_nothing_ticked_asks_for_nothing(manager, summer) -> None:
    two_lessons()

    answer = manager.post(f"/terms/{summer.pk}/carry-over/", {"book": "1"})

    assert answer.status_code == 409
    assert "tick what is to go on" in answer.content.decode()
    assert not PlanRun.objects.exists()


def test_without_a_term_before_nothing_is_carried(manager) -> None:
    term = TermFactory()

    answer = manager.post(f"/terms/{term.pk}/carry-over/")

    assert answer.status_code == 409
    assert "no term before" in answer.content.decode()
    assert manager.get("/terms/9999/carry-over/").status_code == 404


def test_a_run_of_a_term_is_asked_for_on_its_page_alone(manager) -> None:
    assert manager.post("/planner/2027-03-01/ask/try-term/").status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_page_takes_a_constant_number_of_queries(
    manager, summer, django_assert_num_queries, n: int
) -> None:
    spring = Term.objects.get(name="Spring")
    for k in range(n):
        weekly(term=spring, plan=plan(arena=ArenaFactory(name=f"Ring {k}")))
    manager.post(f"/terms/{summer.pk}/carry-over/")
    worked()

    with django_assert_num_queries(11):
        page(manager, summer)
