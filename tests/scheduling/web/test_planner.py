"""The planner's page: asking, watching, stopping."""

import pytest
from django.test import Client as Browser

from scheduling.models import DayPlan, PlanRun
from scheduling.services.plans import make_plan, publish_plan
from scheduling.services.runs import ask_run, carry_out_run, take_up_run
from school.models import School
from school.services.lessons import cancel_lesson
from tests.clock import NOW, SATURDAY
from tests.factories.arenas import LineFactory
from tests.factories.people import AccountFactory
from tests.factories.plans import ChangeoverFactory, PlanRunFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db
PAGE = f"/planner/{SATURDAY.isoformat()}/"
HTMX = {"HX-Request": "true"}


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def test_asking_twice_shows_one_run_that_waits(manager: Browser) -> None:
    manager.post(f"{PAGE}ask/order/")
    page = manager.post(f"{PAGE}ask/order/", follow=True).content.decode()

    run = PlanRun.objects.get()
    assert "Waits for the worker" in page
    assert f'hx-get="/runs/{run.pk}/"' in page
    assert f'action="/runs/{run.pk}/stop/"' in page


def test_without_javascript_the_page_looks_again_by_itself(manager: Browser) -> None:
    refresh = '<noscript><meta http-equiv="refresh" content="5"></noscript>'
    assert refresh not in manager.get(PAGE).content.decode()

    PlanRunFactory()

    assert refresh in manager.get(PAGE).content.decode()


def test_a_run_at_work_shows_its_best_and_its_bound(manager: Browser) -> None:
    run = PlanRunFactory(
        state="running", started_at=NOW, heartbeat_at=NOW, best_s=1000, bound_s=900
    )

    response = manager.get(f"/runs/{run.pk}/", headers=HTMX)

    page = response.content.decode()
    assert page.startswith("<section")
    assert "17 min" in page
    assert "15 min" in page
    assert "HX-Refresh" not in response


def test_the_end_of_a_run_brings_the_whole_page_anew(manager: Browser) -> None:
    run = PlanRunFactory(state="done", ended_at=NOW)

    response = manager.get(f"/runs/{run.pk}/", headers=HTMX)

    assert response["HX-Refresh"] == "true"


def test_a_failed_run_says_why(manager: Browser) -> None:
    PlanRunFactory(state="failed", ended_at=NOW, says="The day can't be ordered: no.")

    assert "The day can&#x27;t be ordered: no." in manager.get(PAGE).content.decode()


def test_a_run_is_stopped(manager: Browser) -> None:
    run = PlanRunFactory()

    page = manager.post(f"/runs/{run.pk}/stop/", follow=True).content.decode()

    run.refresh_from_db()
    assert run.state == "stopped"
    assert "told to stop" in page


@pytest.mark.parametrize("path", ["/runs/99/stop/", f"{PAGE}ask/guess/"])
def test_what_is_not_there_is_not_found(manager: Browser, path: str) -> None:
    assert manager.post(path).status_code == 404


def searched(kind: str = "order") -> PlanRun:
    ask_run(date=SATURDAY, kind=kind, by=None, now=NOW)
    run = take_up_run(now=NOW)
    assert run is not None
    return carry_out_run(run=run, clock=lambda: NOW, beat_every_s=0.02)


def test_old_and_new_are_shown_with_what_each_move_gains(manager: Browser) -> None:
    small_day()
    run = searched()

    page = manager.get(PAGE).content.decode()

    moved = run.result["gains"]
    assert moved
    for words in (
        'id="before-title"',
        'id="after-title"',
        "Proved: no order costs less",
        "Publish the new plan",
        f'name="keep" value="{moved[0]["lesson"].removeprefix("lesson-")}"',
        ">was ",
    ):
        assert words in page
    assert all(
        f'href="/changeovers/{c.pk}/"' in page for c in run.plan.changeovers.all()
    )


def published(manager: Browser) -> tuple[DayPlan, str]:
    small_day()
    plan = make_plan(date=SATURDAY, by=None, now=NOW)
    publish_plan(plan=plan, by=None, now=NOW)
    return plan, manager.get(PAGE).content.decode()


def test_a_published_plan_stays_beside_what_was_booked(manager: Browser) -> None:
    plan, page = published(manager)

    for words in (
        "The day as booked",
        "The day as planned",
        "What the published plan saved",
        f"<strong>{-(-plan.as_booked_reset_s // 60)}</strong>",
        ">was ",
    ):
        assert words in page


def test_what_a_published_plan_moved_is_told_by_lesson(manager: Browser) -> None:
    plan, page = published(manager)

    clocks = {one["id"]: one["booked"]["start"] for one in plan.document["lessons"]}
    moved = [one for one in plan.plan["lessons"] if one["start"] != clocks[one["id"]]]
    assert moved
    for one in moved:
        assert f"{clocks[one['id']]}, Hall</td>" in page
        assert f"{one['start']}, Hall</td>" in page


def test_a_published_plan_of_a_day_that_was_not_possible_as_booked_has_no_picture_of_it(
    manager: Browser,
) -> None:
    plan, _ = published(manager)
    DayPlan.objects.filter(pk=plan.pk).update(as_booked_reset_s=None)

    page = manager.get(PAGE).content.decode()

    assert "The published plan stands" in page
    assert "The day as booked" not in page


def test_what_is_ticked_stays_in_the_next_search(manager: Browser) -> None:
    manager.post(f"{PAGE}ask/replan/", {"keep": ["7", "nobody"]})

    assert PlanRun.objects.get().keep == [7]


def test_a_move_that_was_needed_says_why(manager: Browser) -> None:
    _, _, lessons = small_day()
    run = searched()
    gain = {
        "lesson": f"lesson-{lessons[0].pk}",
        "was": [540, f"arena-{lessons[0].arena_id}"],
        "now": [600, f"arena-{lessons[0].arena_id}"],
        "gain_s": None,
        "at_least": False,
        "why": "arena",
        "lessons": [f"lesson-{lessons[1].pk}", "closure-0-arena-1"],
    }
    PlanRun.objects.filter(pk=run.pk).update(result={"gains": [gain], "conflict": None})

    page = manager.get(PAGE).content.decode()

    assert "09:00, Hall" in page
    assert "taken by Ride of 10:30 and a closed arena now" in page


def test_an_impossible_day_names_the_lessons_and_what_frees_them(
    manager: Browser,
) -> None:
    small_day(windows=False)
    School.objects.update(handling={"start_s": 3600})
    searched()

    page = manager.get(PAGE).content.decode()

    assert "No order of this day keeps every rule" in page
    assert "These can't go together" in page
    assert "<li>cancel Ride of " in page
    assert "Publish the new plan" not in page


def test_a_draft_without_its_search_is_shown_all_the_same(manager: Browser) -> None:
    small_day()
    make_plan(date=SATURDAY, by=None, now=NOW)

    page = manager.get(PAGE).content.decode()

    assert "with the new plan" in page
    assert "No lesson is moved." in page


@pytest.mark.parametrize("n", [1, 3])
def test_the_planner_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    _, _, lessons = small_day()
    for one in lessons[n:]:
        cancel_lesson(lesson=one, reason="ill", by=None, now=NOW)
    plan = make_plan(date=SATURDAY, by=None, now=NOW)
    publish_plan(plan=plan, by=None, now=NOW)
    searched("replan")
    manager.get(PAGE)

    with django_assert_num_queries(16):
        manager.get(PAGE)


@pytest.mark.parametrize("n", [1, 3])
def test_a_published_plan_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    _, _, lessons = small_day()
    for one in lessons[n:]:
        cancel_lesson(lesson=one, reason="ill", by=None, now=NOW)
    plan = make_plan(date=SATURDAY, by=None, now=NOW)
    publish_plan(plan=plan, by=None, now=NOW)
    manager.get(PAGE)

    with django_assert_num_queries(14):
        manager.get(PAGE)


def test_a_changeover_shows_its_drawing_its_steps_and_why(manager: Browser) -> None:
    small_day()
    run = searched()
    one = run.plan.changeovers.order_by("starts_at").first()

    page = manager.get(f"/changeovers/{one.pk}/").content.decode()

    for words in ("Stands now", "Wanted", "on a bare line the same grid", "<h2>Steps"):
        assert words in page


def test_a_changeover_of_an_old_plan_says_what_it_can(manager: Browser) -> None:
    one = ChangeoverFactory()
    cleared = manager.get(f"/changeovers/{one.pk}/").content.decode()
    row = {"id": f"lesson-{one.lesson_id}", "line": "line-1"}
    DayPlan.objects.update(plan={"lessons": [row]})

    page = manager.get(f"/changeovers/{one.pk}/").content.decode()

    assert "taken to the store" in cleared
    assert "too old to say more" in page


def test_a_changeover_that_is_not_there_is_not_found(manager: Browser) -> None:
    assert manager.get("/changeovers/99/").status_code == 404


def test_what_if_shows_one_table_and_one_picture(manager: Browser) -> None:
    _, _, lessons = small_day()
    answers = [
        {"name": "crew", "saved_s": 90, "reset_s": 600, "proved": True, "changed": []},
        {
            "name": "gap",
            "saved_s": None,
            "reset_s": None,
            "proved": True,
            "changed": [],
        },
        {
            "name": "line",
            "saved_s": None,
            "reset_s": 90,
            "proved": False,
            "changed": [],
        },
        {
            "name": "distances",
            "saved_s": -30,
            "reset_s": 700,
            "proved": True,
            "changed": [f"lesson-{lessons[0].pk}"],
        },
    ]
    result = {
        "reset_s": 690,
        "objective_s": 720,
        "status": "proved",
        "answers": answers,
    }
    PlanRunFactory(kind="what-if", state="done", ended_at=NOW, result=result)

    page = manager.get(f"{PAGE}what-if/").content.decode()

    for words in (
        "12 min of changing fences",
        "1.5 min",
        "not possible",
        "makes the day possible",
        "-0.5 min",
        "Ride of 09:00",
        "<svg",
    ):
        assert words in page


def test_what_if_of_an_impossible_day_says_so(manager: Browser) -> None:
    result = {"reset_s": 0, "objective_s": 0, "status": "impossible"}
    answer = {"name": "crew", "saved_s": None, "reset_s": 60, "proved": False}
    result["answers"] = [answer | {"changed": []}]
    PlanRunFactory(kind="what-if", state="done", ended_at=NOW, result=result)

    page = manager.get(f"{PAGE}what-if/").content.decode()

    assert "The day as it is keeps no plan" in page


def test_asking_for_what_if_leads_to_its_page(manager: Browser) -> None:
    response = manager.post(f"{PAGE}ask/what-if/")

    assert response["Location"] == f"{PAGE}what-if/"
    assert PlanRun.objects.get().seconds == 10
    assert "Waits for the worker" in manager.get(response["Location"]).content.decode()


def test_a_lesson_that_only_changes_its_arena_says_so(manager: Browser) -> None:
    arena, _, lessons = small_day()
    plan = make_plan(date=SATURDAY, by=None, now=NOW)
    one = plan.lessons.get(lesson=lessons[0])
    other = LineFactory()
    one.arena, one.line, one.starts_at = other.arena, other, lessons[0].starts_at
    one.save()

    page = manager.get(PAGE).content.decode()

    assert arena != other.arena
    assert ">other arena<" in page


def test_a_run_looked_at_without_htmx_leads_to_its_page(manager: Browser) -> None:
    run = PlanRunFactory(kind="what-if")

    assert manager.get(f"/runs/{run.pk}/")["Location"] == f"{PAGE}what-if/"
    assert manager.get("/runs/99/").status_code == 404


def test_a_plan_that_moves_lessons_for_nothing_says_so(manager: Browser) -> None:
    small_day()
    run = searched()
    worth_it = manager.get(PAGE).content.decode()
    DayPlan.objects.update(as_booked_reset_s=run.plan.reset_s)

    page = manager.get(PAGE).content.decode()

    assert "saves no minute" in page
    assert "saves no minute" not in worth_it
