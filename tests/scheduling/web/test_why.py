"""Why a day takes what it takes: each changeover with what stands in its way."""

import pytest
from django.test import Client as Browser

from scheduling.models import DayPlan
from scheduling.services.plans import make_plan, publish_plan
from tests.clock import NOW, SATURDAY
from tests.factories.people import AccountFactory
from tests.factories.plans import ChangeoverFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db
PAGE = f"/planner/{SATURDAY.isoformat()}/why/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def test_a_day_without_a_plan_says_what_to_do(manager: Browser) -> None:
    assert "Order the day</a> first" in manager.get(PAGE).content.decode()


def test_every_changeover_of_the_day_is_reasoned(manager: Browser) -> None:
    small_day(windows=True)
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)

    page = manager.get(PAGE).content.decode()

    assert "The new plan, not yet published," in page
    assert "Proved:" in page
    assert page.count("It takes ") == plan.changeovers.count() > 1


def test_where_most_could_be_saved_stands_first(manager: Browser) -> None:
    small_day(windows=True)
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    publish_plan(plan=plan, by=None, now=NOW)

    response = manager.get(PAGE)

    saves = [row["saves_min"] for row in response.context["rows"]]
    assert saves == sorted(saves, reverse=True)
    assert "The published plan" in response.content.decode()


def test_what_saves_the_same_is_told_as_the_day_goes(manager: Browser) -> None:
    small_day(windows=True)
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    # Too old to be reasoned, so nothing saves more than another.
    DayPlan.objects.filter(pk=plan.pk).update(document={"version": 0})
    first = plan.changeovers.order_by("pk").first()
    last = plan.changeovers.order_by("starts_at").last()
    shift = last.ends_at - first.starts_at
    first.starts_at, first.ends_at = first.starts_at + shift, first.ends_at + shift
    first.save()

    rows = manager.get(PAGE).context["rows"]

    starts = [row["changeover"].starts_at for row in rows]
    assert starts == sorted(starts)


def test_a_plan_too_old_to_be_read_keeps_its_minutes(manager: Browser) -> None:
    small_day(windows=True)
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    DayPlan.objects.filter(pk=plan.pk).update(document={"version": 0})

    page = manager.get(PAGE).content.decode()

    assert page.count("The plan is too old to say more.") == plan.changeovers.count()


def test_the_number_of_queries_does_not_grow_with_the_changeovers(
    manager: Browser, django_assert_num_queries
) -> None:
    one = ChangeoverFactory(plan__date=SATURDAY, plan__state="draft")
    with django_assert_num_queries(QUERIES):
        manager.get(PAGE)
    for _ in range(2):
        ChangeoverFactory(plan=one.plan)

    with django_assert_num_queries(QUERIES):
        manager.get(PAGE)


QUERIES = 10
