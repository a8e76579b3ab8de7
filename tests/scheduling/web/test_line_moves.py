"""The page of lines that move sideways, and such a move on the reset list."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import Line, SidewaysRule, YardWork
from tests.clock import NOW, SATURDAY
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.schools import SchoolFactory
from tests.factories.yard import LineMoveFactory, SidewaysRuleFactory

pytestmark = pytest.mark.django_db

PAGE = "/yard-work/lines/"
LIST = f"/resets/{SATURDAY}/"


@pytest.fixture
def line() -> Line:
    SchoolFactory()
    return LineMoveFactory(
        line__arena__name="Hall",
        stands=[{"kind": "vertical", "at_cm": 0, "height_cm": 60}],
    ).line


@pytest.fixture
def renske(client: Browser, line: Line) -> Browser:
    person = GroundspersonFactory(person__first_name="Renske").person
    client.force_login(AccountFactory(person=person))
    return client


@pytest.fixture
def manager(client: Browser, line: Line) -> Browser:
    client.force_login(AccountFactory(is_manager=True))
    return client


def rule_of(line: Line, **changed: object) -> dict[str, object]:
    fields = {
        "every_days": "7",
        "every_uses": "",
        "step": "2.5 m",
        "least": "4.5",
        "most": "15.5 m",
    } | changed
    return {f"rule-{line.pk}-{name}": value for name, value in fields.items()}


def test_a_line_without_a_rule_stays_where_it_lies(renske: Browser) -> None:
    page = renske.get(PAGE).content.decode()

    assert "It lies <strong>5.00 m</strong> from the long side" in page
    assert "It stays where it lies." in page
    assert "Have it moved" not in page


def test_the_manager_has_a_line_moved(manager: Browser, line: Line) -> None:
    YardWork.objects.all().delete()

    page = manager.post(f"{PAGE}{line.pk}/", rule_of(line), follow=True)

    rule = SidewaysRule.objects.get()
    assert (rule.step_cm, rule.least_cm, rule.most_cm) == (250, 450, 1550)
    assert "to and fro between 4.50 m and 15.50 m" in page.content.decode()


def test_a_rule_that_is_refused_says_why_beside_its_field(
    manager: Browser, line: Line
) -> None:
    page = manager.post(f"{PAGE}{line.pk}/", rule_of(line, most="18 m"))

    assert page.status_code == 409
    assert "Hall is 20 m wide: give at most 17.5 m" in page.content.decode()


def test_a_length_that_is_none_is_refused(manager: Browser, line: Line) -> None:
    assert manager.post(f"{PAGE}{line.pk}/", rule_of(line, step="far")).status_code == (
        409
    )


def test_how_worn_it_is_and_when_it_is_due(renske: Browser, line: Line) -> None:
    SidewaysRuleFactory(line=line, every_uses=12)

    page = renske.get(PAGE).content.decode()

    assert "<strong>0</strong> lessons over fences since Monday 1 March" in page
    assert "every 7 days or after 12 lessons" in page
    assert "Saturday 6 March</a>, 17:00: to 7.50 m" in page


def test_the_manager_leaves_it_where_it_lies(manager: Browser, line: Line) -> None:
    SidewaysRuleFactory(line=line)

    manager.post(f"{PAGE}{line.pk}/end/")

    assert not SidewaysRule.objects.exists()
    assert YardWork.objects.get().called_off_at is not None


def test_the_groundsperson_says_where_it_lies(renske: Browser, line: Line) -> None:
    page = renske.post(
        f"{PAGE}{line.pk}/lies/", {f"place-{line.pk}-at": "3 m"}, follow=True
    ).content.decode()

    assert "Hall, Centre, lies 3.00 m from the long side." in page
    assert Line.objects.get().from_long_side_cm == 300


@pytest.mark.parametrize("said", ["25 m", "beside the wall"])
def test_a_place_that_is_none_is_refused(
    renske: Browser, line: Line, said: str
) -> None:
    page = renske.post(f"{PAGE}{line.pk}/lies/", {f"place-{line.pk}-at": said})

    assert page.status_code == 409
    assert Line.objects.get().from_long_side_cm == 500


def test_a_place_too_near_another_line_is_warned_of(
    renske: Browser, line: Line
) -> None:
    Line.objects.create(
        arena=line.arena, name="Side", length_cm=3000, from_long_side_cm=900
    )

    page = renske.post(
        f"{PAGE}{line.pk}/lies/", {f"place-{line.pk}-at": "6 m"}, follow=True
    ).content.decode()

    assert "Side lies only 3 m away" in page


def test_an_unknown_line_is_not_found(manager: Browser) -> None:
    assert manager.post(f"{PAGE}999/end/").status_code == 404


def test_the_list_says_from_where_to_where_and_what_is_carried(
    renske: Browser,
) -> None:
    page = renske.get(LIST).content.decode()

    assert "moving a line sideways: Centre" in page
    assert (
        "Move it 2.50 m away from the long side: from 5.00 m to 7.50 m, measured at "
        "both ends."
    ) in page
    assert "2 wings, 1 pole, 2 cups" in page


def test_done_on_the_list_moves_the_line(renske: Browser) -> None:
    today = timezone.localdate()
    YardWork.objects.update(date=today)

    renske.post(f"/yard-work/{YardWork.objects.get().pk}/done/")

    assert Line.objects.get().from_long_side_cm == 750
    page = renske.get(f"/resets/{today}/").content.decode()
    assert "The line lies 7.50 m from the long side now." in page


def test_moving_an_empty_line_carries_nothing(renske: Browser) -> None:
    YardWork.objects.update(stands=[], to_cm=400)

    page = renske.get(LIST).content.decode()

    assert "1.00 m towards the long side" in page
    assert "The line is empty then: nothing to carry." in page


def test_due_without_room_is_said(renske: Browser, line: Line) -> None:
    YardWork.objects.all().delete()
    SidewaysRuleFactory(line=line, counted_from_at=NOW - timedelta(days=400))

    assert "finds no room" in renske.get(PAGE).content.decode()
