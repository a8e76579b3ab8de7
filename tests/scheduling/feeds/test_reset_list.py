"""The groundsperson's feed: the list in each entry, no rider's name."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from scheduling.feeds.reset_list import reset_snapshot
from scheduling.models import Changeover
from school.models import FeedToken
from school.queries.schools import school_zone
from school.services.feeds import make_feed
from school.services.yard import call_off
from tests.clock import NOW
from tests.factories.arenas import LineFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import GroundspersonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory
from tests.factories.yard import LineMoveFactory, YardWorkFactory
from tests.readers.expand import agreed
from tests.school.calendars.readers import events

pytestmark = pytest.mark.django_db


def published(who, n: int = 1, state: str = "published") -> list[Changeover]:
    SchoolFactory()
    plan = DayPlanFactory(state=state)
    start = timezone.now().replace(microsecond=0) + timedelta(days=1)
    made = []
    for k in range(n):
        at = start + timedelta(hours=2 * k)
        ride = RideFactory(
            lesson__starts_at=at + timedelta(minutes=15),
            lesson__title=f"Group {k}",
            rider__person__first_name="Mira",
        )
        one = ChangeoverFactory(
            plan=plan,
            lesson=ride.lesson,
            line=LineFactory(arena=ride.lesson.arena, datum="the gate"),
            who=who,
            starts_at=at,
            ends_at=at + timedelta(minutes=12),
        )
        ChangeoverMoveFactory(changeover=one, position=1)
        made.append(one)
    return made


def get(client: Browser, who) -> bytes:
    return client.get(address(who)).content


def address(who) -> str:
    _, url = make_feed(kind="groundsperson", holder=who.person, now=NOW, token="t" * 43)
    return "/agenda/" + url.partition("/agenda/")[2]


def test_an_entry_is_the_changeover_with_its_list(client: Browser) -> None:
    who = GroundspersonFactory()
    (changeover,) = published(who)
    arena = changeover.line.arena.name

    body = get(client, who)

    (one,) = events(body)
    assert one.uid.value == str(changeover.uid)
    assert one.dtstart.value == changeover.starts_at
    assert one.dtend.value == changeover.ends_at
    by = changeover.ends_at.astimezone(school_zone())
    assert one.summary.value == f"Build 1 by {by:%H:%M}, {arena}"
    lines = one.description.value.split("\n")
    assert lines[1] == f"For Group 0, {changeover.line.name}, 12 min."
    assert lines[2] == "Bring 2 wings, 2 poles, 2 cups."
    assert lines[3] == "1. Build a cross (40 cm high) at 12.40 m from the gate."
    assert "/resets/" in lines[-1]
    assert one.valarm.trigger.value == timedelta(minutes=-10)
    assert "Mira" not in body.decode()


@pytest.mark.parametrize(
    ("does", "what"),
    [
        (["build"], "Build 1"),
        (["shift", "build", "shift"], "Build 1, shift 2"),
        (["change", "shift", "build", "strip"], "Build 1, 2 more"),
    ],
)
def test_what_a_phone_shows_of_an_entry_says_what_until_when_and_where(
    client: Browser, does: list[str], what: str
) -> None:
    """A phone cuts an entry off after some forty letters: from memory."""
    who = GroundspersonFactory()
    (changeover,) = published(who)
    changeover.line.arena.name = "Meadow ring"
    changeover.line.arena.save()
    changeover.moves.all().delete()
    for k, do in enumerate(does):
        stood = {"kind": "pole", "at_cm": 500 * (k + 1), "faces": "up"}
        ChangeoverMoveFactory(
            changeover=changeover,
            position=k + 1,
            do=do,
            was=None if do == "build" else stood,
            now=None if do == "strip" else stood | {"at_cm": 500 * k + 550},
        )

    (one,) = events(get(client, who))

    by = changeover.ends_at.astimezone(school_zone())
    for first in (one.summary.value, one.description.value.split("\n")[0]):
        assert first[:40] == f"{what} by {by:%H:%M}, Meadow ring"


def test_a_changeover_that_only_strips_says_so(client: Browser) -> None:
    who = GroundspersonFactory()
    (changeover,) = published(who)
    changeover.moves.update(
        do="strip", was={"kind": "pole", "at_cm": 500, "faces": "up"}, now=None
    )

    (one,) = events(get(client, who))

    assert one.summary.value.startswith("Strip 1 by ")


def test_drafts_and_others_work_and_cancelled_lessons_are_left_out(
    client: Browser,
) -> None:
    who = GroundspersonFactory()
    (cancelled,) = published(who)
    published(GroundspersonFactory(), state="draft")
    lesson = cancelled.lesson
    lesson.state, lesson.state_reason = "cancelled", "storm"
    lesson.save()

    assert events(get(client, who)) == []


@pytest.mark.parametrize("n", [1, 3])
def test_the_feed_takes_a_constant_number_of_queries(
    client: Browser, django_assert_num_queries, n: int
) -> None:
    who = GroundspersonFactory()
    published(who, n)
    for k in range(n):
        YardWorkFactory(who=who, starts_at=timezone.now() + timedelta(hours=k))
    url = address(who)
    client.get(url)

    with django_assert_num_queries(10):
        client.get(url)


def test_a_feed_without_a_person_is_an_error() -> None:
    with pytest.raises(RuntimeError, match="has a person"):
        reset_snapshot(SchoolFactory(), FeedToken(kind="groundsperson"), NOW)


def test_a_harrow_is_an_entry_with_an_alarm_that_every_reader_sees(
    client: Browser,
) -> None:
    who = GroundspersonFactory()
    published(who)
    start = timezone.now().replace(microsecond=0) + timedelta(days=2)
    work = YardWorkFactory(who=who, starts_at=start, arena__name="Hall")
    YardWorkFactory(starts_at=start)

    body = get(client, who)

    seen = agreed(body, start - timedelta(hours=1), start + timedelta(hours=1))
    by = work.ends_at.astimezone(school_zone())
    assert [(one.uid, one.starts_at, one.summary) for one in seen] == [
        (str(work.uid), start, f"Harrow by {by:%H:%M}, Hall")
    ]
    (entry,) = [one for one in events(body) if one.uid.value == str(work.uid)]
    assert entry.valarm.trigger.value == timedelta(minutes=-10)
    lines = entry.description.value.split("\n")
    assert lines[0] == f"Harrow by {by:%H:%M}, Hall"
    assert lines[1].startswith("The arena is empty: poles and wings")


def test_a_line_moved_sideways_is_an_entry_too(client: Browser) -> None:
    who = GroundspersonFactory()
    published(who)
    start = timezone.now().replace(microsecond=0) + timedelta(days=2)
    work = LineMoveFactory(who=who, starts_at=start, line__arena__name="Hall")

    body = get(client, who)

    seen = agreed(body, start - timedelta(hours=1), start + timedelta(hours=1))
    by = work.ends_at.astimezone(school_zone())
    assert [(one.uid, one.summary) for one in seen] == [
        (str(work.uid), f"Move line Centre by {by:%H:%M}, Hall")
    ]
    (entry,) = [one for one in events(body) if one.uid.value == str(work.uid)]
    assert "from 5.00 m to 7.50 m" in entry.description.value


def test_a_harrow_called_off_is_gone(client: Browser) -> None:
    who = GroundspersonFactory()
    SchoolFactory()
    work = YardWorkFactory(who=who, starts_at=timezone.now() + timedelta(days=1))
    call_off(work=work, by=None, now=timezone.now())

    assert events(get(client, who)) == []
