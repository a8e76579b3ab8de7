"""How a yard carries: kept once, and the walk of the list goes by it."""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser

from scheduling.convert.changeovers import ground_of, walk_of
from scheduling.convert.days import day_document
from scheduling.models import Changeover
from scheduling.queries.carrying import carrying_of_yard
from scheduling.queries.days import day_rows
from school.models import Arena, AuditEntry, Groundsperson, School
from tests.clock import SATURDAY
from tests.factories.arenas import ArenaFactory, LineFactory, StorePieceFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db
PAGE = "/carrying/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


@pytest.fixture
def work(manager: Browser) -> Changeover:
    arena = ArenaFactory(name="Hall", length_cm=6000)
    line = LineFactory(arena=arena, length_cm=5000, from_long_side_cm=500)
    one = ChangeoverFactory(
        plan=DayPlanFactory(state="published"),
        lesson__arena=arena,
        line=line,
        who=GroundspersonFactory(alone=False),
    )
    ChangeoverMoveFactory(changeover=one)
    StorePieceFactory(piece="wing", weight_g=9_000)
    return one


def keep(client: Browser, **other: object):
    arena = Arena.objects.get()
    fields = {
        "carries_kg": "16",
        "helpers": "1",
        f"along_{arena.pk}": "20.5",
        f"across_{arena.pk}": "-3",
    } | {name.replace("_hall", f"_{arena.pk}"): one for name, one in other.items()}
    return client.post(PAGE, fields, follow=True)


def test_the_stores_place_is_seen_from_the_line(
    manager: Browser, work: Changeover
) -> None:
    far = walk_of(work, carrying_of_yard(School.objects.get()))[0].way_cm

    assert "walked by this now" in keep(manager).content.decode()

    line = Changeover.objects.select_related("line__arena").get().line
    # The line begins 5 m from the arena's end and lies 5 m from its long side.
    assert (ground_of(line).store_at_cm, ground_of(line).store_aside_cm) == (1550, 800)
    work.line = line
    assert walk_of(work, carrying_of_yard(School.objects.get()))[0].way_cm < far
    keep(manager, along_hall="", across_hall="")
    line.arena.refresh_from_db()
    assert ground_of(line).store_at_cm == 0


def test_what_one_carries_and_who_helps_decide_who_is_needed(
    manager: Browser, work: Changeover
) -> None:
    keep(manager, carries_kg="8", helpers="2")

    _, crew, _ = walk_of(work, carrying_of_yard(School.objects.get()))

    assert (crew.people, crew.most_g) == (3, 24_000)
    page = manager.get(f"/resets/{SATURDAY}/").content.decode()
    assert "2 wings (9 kg, two people)" in page
    day = manager.get(f"/day/{SATURDAY}/").content.decode()
    assert "8 kg a person (set by the school), the store where the school says" in day


def test_the_usual_is_said_to_be_the_usual(manager: Browser, work: Changeover) -> None:
    day = manager.get(f"/day/{SATURDAY}/").content.decode()

    assert "16 kg a person (the usual figure), the store 10 m beside" in day


def test_kept_twice_it_is_written_down_once(manager: Browser, work: Changeover) -> None:
    keep(manager)
    keep(manager)

    assert AuditEntry.objects.filter(action="set carrying").count() == 1


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"carries_kg": "4"}, "Give from 5 to 40 kg."),
        ({"helpers": "0"}, "Give from 1 to 3."),
        ({"along_hall": ""}, "Give both, or neither."),
        ({"across_hall": "201"}, "Give at most 200 m."),
        ({"carries_kg": "many"}, "Enter a whole number."),
    ],
)
def test_a_figure_out_of_its_range_is_refused(
    manager: Browser, work: Changeover, fields: dict[str, str], says: str
) -> None:
    answer = keep(manager, **fields)

    assert answer.status_code == 409
    assert says in answer.content.decode()
    assert School.objects.get().carries_kg == 16
    assert Arena.objects.get().store_along_cm is None


def test_alone_on_thursdays_only(manager: Browser, work: Changeover) -> None:
    who = work.who
    page = keep(manager, **{f"alone_{who.pk}": ["3"]})

    assert page.status_code == 200
    who.refresh_from_db()
    thursday = date(2027, 3, 4)
    assert who.alone_on(thursday)
    assert not who.alone_on(thursday + timedelta(days=1))


def test_the_plan_and_the_list_reckon_with_the_day(
    manager: Browser, work: Changeover
) -> None:
    GroundspersonFactory(alone=False)
    keep(manager)
    pair = [day_document(day_rows(SATURDAY))["crew"]]
    # On the Saturday both are without help.
    both = {f"alone_{one.pk}": ["5"] for one in Groundsperson.objects.all()}
    keep(manager, **both)

    assert [*pair, day_document(day_rows(SATURDAY))["crew"]] == [1, 2]
    one = Changeover.objects.select_related("line__arena", "who", "plan").get()
    crew = walk_of(one, carrying_of_yard(School.objects.get()))[1]
    assert (one.plan.date, crew.people) == (SATURDAY, 1)
