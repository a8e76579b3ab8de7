"""The exact time of a lesson in a window: told once it is settled, and once only.

Checked against RFC 5546: section 2.1.4 (SEQUENCE rises with another start, and need
not where only words change; then DTSTAMP tells the later one) and section 3.2.2
(STATUS of a request is TENTATIVE or CONFIRMED).
"""

from datetime import datetime, time, timedelta
from email import message_from_bytes, policy

import pytest
from icalendar import Calendar

from scheduling.services.plans import make_plan, publish_plan
from school.calendars.invites import make_mail
from school.enums import Answer
from school.models import Invitation, Lesson, OutboxMessage, School
from school.queries.windows import without_a_time
from school.services.booking import book_lesson
from school.services.invitations import lesson_changed
from school.services.lessons import move_lesson
from school.services.messages import deliver_due
from school.services.series import start_series
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import plan as weekly_plan
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db

EVENING = NOW + timedelta(hours=1)


@pytest.fixture
def day() -> list[Lesson]:
    """Three lessons of a Saturday; each may move, and each has a client."""
    _, _, lessons = small_day()
    School.objects.update(freeze_min=0)
    for one in lessons:
        if not one.rides.exists():
            RideFactory(lesson=one, horse=HorseFactory())
        lesson_changed(lesson=one, now=NOW)
    deliver_due(now=NOW + timedelta(hours=12))
    return lessons


def published(now: datetime = EVENING) -> dict[int, bool]:
    """Publish a plan; say of each lesson whether it was moved."""
    was = dict(Lesson.objects.values_list("pk", "starts_at"))
    plan = make_plan(date=SATURDAY, by=None, now=now, seconds=120)
    publish_plan(plan=plan, by=None, now=now)
    return {pk: one != was[pk] for pk, one in _starts().items()}


def _starts() -> dict[int, datetime]:
    return dict(Lesson.objects.values_list("pk", "starts_at"))


def waiting(lesson: Lesson) -> list[OutboxMessage]:
    mine = OutboxMessage.objects.filter(invitation__lesson=lesson, state="waiting")
    return list(mine.order_by("pk"))


def mail(message: OutboxMessage) -> tuple[str, dict]:
    """The words and the calendar entry of a mail."""
    school = School.objects.get()
    made = make_mail(school, message, message.made_at)
    parsed = message_from_bytes(made.raw, policy=policy.default)
    body = parsed.get_body(("plain",))
    assert body is not None
    (calendar,) = [x for x in parsed.walk() if x.get_content_type() == "text/calendar"]
    event = Calendar.from_ical(calendar.get_payload(decode=True)).walk("VEVENT")[0]
    return body.get_content(), dict(event)


def test_before_it_is_planned_the_window_is_told_and_by_when_the_time_comes() -> None:
    SchoolFactory()
    ride = RideFactory(
        lesson__starts_at=at("15:00"),
        lesson__window_from=at("15:00"),
        lesson__window_to=at("17:00"),
    )
    lesson_changed(lesson=ride.lesson, now=NOW)

    words, entry = mail(waiting(ride.lesson)[0])

    assert (
        "it may start from 15:00 to 17:00; you are told the exact time by Friday "
        "5 March, 18:00." in " ".join(words.split())
    )
    assert entry["STATUS"] == "TENTATIVE"
    assert entry["SEQUENCE"] == 0


def test_once_a_plan_is_published_each_client_is_told_once(day: list[Lesson]) -> None:
    moved = published()

    assert set(moved.values()) == {True, False}
    for lesson in Lesson.objects.filter(window_from__isnull=False):
        (message,) = waiting(lesson)
        words, entry = mail(message)
        assert "Not fixed" not in words
        assert entry["STATUS"] == "CONFIRMED"
        assert entry["DTSTART"].dt == lesson.starts_at
        # RFC 5546 section 2.1.4: SEQUENCE rises when STATUS changes, moved or not.
        assert entry["SEQUENCE"] == 1


def test_a_time_that_stays_voids_no_answer(day: list[Lesson]) -> None:
    Invitation.objects.update(answer=Answer.ACCEPTED)

    moved = published()

    for one in Invitation.objects.exclude(lesson=None):
        kept = one.answer == Answer.ACCEPTED
        assert kept is not moved[one.lesson_id or 0]


def test_publishing_again_without_a_change_tells_nothing(day: list[Lesson]) -> None:
    published()
    deliver_due(now=EVENING + timedelta(hours=12))

    published(EVENING + timedelta(hours=13))

    assert not OutboxMessage.objects.filter(state="waiting").exists()


def test_a_move_by_hand_settles_the_time(day: list[Lesson]) -> None:
    lesson = Lesson.objects.filter(window_from__isnull=False).order_by("starts_at")[0]
    start = lesson.window_to
    assert start is not None
    Lesson.objects.exclude(pk=lesson.pk).update(state="cancelled", state_reason="-")

    move_lesson(
        lesson=lesson, starts_at=start, version=lesson.version, by=None, now=EVENING
    )

    (message,) = waiting(lesson)
    _, entry = mail(message)
    assert (entry["STATUS"], entry["SEQUENCE"]) == ("CONFIRMED", 1)


def test_a_day_of_a_weekly_lesson_is_told_by_itself() -> None:
    """RFC 5546 section 3.2.2.1: one occurrence, by its RECURRENCE-ID."""
    SchoolFactory(freeze_min=0)
    usual = weekly_plan(
        local_start=time(15), window_from=time(15), window_to=time(17), work="flat"
    )
    series = start_series(
        plan=usual,
        first_date=SATURDAY,
        last_date=SATURDAY + timedelta(days=21),
        rides=[(RiderFactory(), HorseFactory())],
        by=None,
        now=NOW,
    )
    first = OutboxMessage.objects.get()
    words, entry = mail(first)
    assert "each may start from 15:00 to 17:00" in " ".join(words.split())
    assert entry["STATUS"] == "TENTATIVE"
    deliver_due(now=NOW + timedelta(hours=12))

    published(NOW + timedelta(hours=13))

    (message,) = OutboxMessage.objects.filter(state="waiting")
    _, entry = mail(message)
    held = series.lessons.get(series_date=SATURDAY)
    assert entry["RECURRENCE-ID"].dt == at("15:00")
    assert (entry["DTSTART"].dt, entry["STATUS"]) == (held.starts_at, "CONFIRMED")
    assert entry["SEQUENCE"] == 1


@pytest.mark.parametrize("taken", [False, True], ids=["stays", "moves"])
def test_who_accepted_the_weeks_is_asked_anew_only_of_a_day_that_moves(
    taken: bool,
) -> None:
    SchoolFactory(freeze_min=0)
    series = start_series(
        plan=weekly_plan(
            local_start=time(15), window_from=time(15), window_to=time(17), work="flat"
        ),
        first_date=SATURDAY,
        last_date=SATURDAY + timedelta(days=21),
        rides=[(RiderFactory(), HorseFactory())],
        by=None,
        now=NOW,
    )
    deliver_due(now=NOW + timedelta(hours=12))
    Invitation.objects.update(answer=Answer.ACCEPTED)
    held = series.lessons.get(series_date=SATURDAY)

    move_lesson(
        lesson=held,
        starts_at=at("16:00") if taken else held.starts_at,
        version=held.version,
        by=None,
        now=EVENING,
    )

    (message,) = OutboxMessage.objects.filter(state="waiting")
    _, entry = mail(message)
    assert entry["STATUS"] == "CONFIRMED"
    answer = "NEEDS-ACTION" if taken else "ACCEPTED"
    assert entry["ATTENDEE"].params["PARTSTAT"] == answer


def test_what_is_without_a_time_after_the_evening_is_listed(day: list[Lesson]) -> None:
    school = School.objects.get()
    eve = at("18:00", SATURDAY - timedelta(days=1))

    assert without_a_time(school, eve - timedelta(minutes=1)) == []
    late = without_a_time(school, eve)
    assert late == list(
        Lesson.objects.filter(window_from__isnull=False).order_by("starts_at", "pk")
    )

    published(eve)
    assert without_a_time(school, eve) == []


@pytest.mark.parametrize("late", [False, True])
def test_what_is_booked_after_the_evening_holds_as_it_is_booked(late: bool) -> None:
    SchoolFactory()
    eve = at("18:00", SATURDAY - timedelta(days=1))
    now = eve if late else eve - timedelta(minutes=1)

    lesson = book_lesson(
        title="Late",
        kind="private",
        work="flat",
        starts_at=at("15:00"),
        minutes=60,
        window_from=at("15:00"),
        window_to=at("17:00"),
        arena=ArenaFactory(),
        instructor=InstructorFactory(),
        by=None,
        now=now,
    )

    assert lesson.time_set_at == (now if late else None)
