"""Reminders: in time, once, never for what is not held."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.core import mail

from school.models import OutboxMessage, School
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson, move_lesson
from school.services.messages import deliver_due
from school.services.reminders import GRACE, reminder_moments, write_reminders
from school.services.rides import cancel_ride
from tests.clock import AUTUMN_CHANGE, NOW, SATURDAY, SPRING_CHANGE, at
from tests.factories.lessons import RideFactory
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import TUESDAY, weekly

pytestmark = pytest.mark.django_db

FIRST = at("09:00") - timedelta(hours=72)
EVENING = at("18:00", SATURDAY - timedelta(days=1))


@pytest.fixture(autouse=True)
def school() -> School:
    return SchoolFactory()


@pytest.fixture
def ride():
    one = RideFactory()
    lesson_changed(lesson=one.lesson, now=NOW)
    deliver_due(now=NOW)
    mail.outbox.clear()
    return one


def due(now: datetime) -> int:
    write_reminders(now=now)
    return deliver_due(now=now).sent


def local(moment: datetime) -> str:
    return f"{moment.astimezone(at('12:00').tzinfo):%a %d %b %H:%M}"


def moments(starts_at: datetime) -> dict[str, str]:
    return {
        name: local(one)
        for name, one in reminder_moments(School.objects.get(), starts_at).items()
    }


def test_a_lesson_is_reminded_of_72_hours_and_the_evening_before(ride) -> None:
    """The times are a proposal of the trade's handbook, no source."""
    assert due(FIRST - timedelta(minutes=1)) == 0
    assert due(FIRST) == 1
    assert due(EVENING - timedelta(minutes=1)) == 0
    assert due(EVENING) == 1
    assert [one.subject for one in OutboxMessage.objects.filter(kind="reminder")] == [
        f"Soon: Lesson {ride.rider.person.first_name}: jumping, Sat 6 Mar 09:00"
    ] * 2


def test_a_reminder_is_written_once_however_often_it_is_due(ride) -> None:
    assert due(FIRST) == 1
    assert due(FIRST) == 0
    assert due(FIRST + timedelta(minutes=5)) == 0


def test_a_reminder_carries_words_and_no_second_calendar_entry(ride) -> None:
    due(FIRST)

    read = mail.outbox[0].message().as_bytes()
    assert b"text/calendar" not in read
    assert b"Cancel without charge until Friday 5 March, 09:00" in read


def test_after_the_last_free_moment_the_reminder_says_it_is_over(ride) -> None:
    due(EVENING)

    read = mail.outbox[0].message().as_bytes().replace(b"=\n", b"")
    assert b"The time to cancel without charge ended on Friday 5 March, 09:00" in read


def test_a_cancelled_lesson_is_not_reminded_of(ride) -> None:
    cancel_lesson(lesson=ride.lesson, reason="storm", by=None, now=NOW)
    deliver_due(now=NOW)

    assert due(FIRST) == 0


def test_a_reminder_written_and_not_yet_sent_falls_with_the_lesson(ride) -> None:
    write_reminders(now=FIRST)
    cancel_lesson(lesson=ride.lesson, reason="storm", by=None, now=FIRST)
    deliver_due(now=FIRST)

    states = OutboxMessage.objects.filter(kind="reminder")
    assert [one.state for one in states] == ["dropped"]
    assert len(mail.outbox) == 1


def test_a_place_given_back_is_not_reminded_of(ride) -> None:
    write_reminders(now=FIRST)
    cancel_ride(ride=ride, reason="ill", by=None, now=FIRST)
    deliver_due(now=FIRST)

    assert OutboxMessage.objects.get(kind="reminder").state == "dropped"


def test_a_lesson_moved_to_another_day_is_reminded_of_again(ride) -> None:
    due(FIRST)
    lesson = ride.lesson
    lesson.refresh_from_db()
    later = at("09:00", SATURDAY + timedelta(days=7))
    move_lesson(
        lesson=lesson, starts_at=later, version=lesson.version, by=None, now=FIRST
    )
    deliver_due(now=FIRST)

    assert due(later - timedelta(hours=72)) == 1


def test_who_was_written_to_since_is_not_reminded() -> None:
    one = RideFactory()
    lesson_changed(lesson=one.lesson, now=FIRST + timedelta(minutes=10))
    deliver_due(now=FIRST + timedelta(minutes=10))

    assert due(FIRST + timedelta(minutes=15)) == 0
    assert due(EVENING) == 1


def test_a_reminder_waits_for_the_invite_it_speaks_of() -> None:
    one = RideFactory()
    lesson_changed(lesson=one.lesson, now=FIRST - timedelta(hours=1))

    assert write_reminders(now=FIRST) == 0

    deliver_due(now=FIRST + timedelta(minutes=30))
    assert write_reminders(now=FIRST + timedelta(minutes=31)) == 1


def test_after_a_long_outage_an_old_reminder_is_not_sent(ride) -> None:
    assert due(FIRST + GRACE - timedelta(minutes=1)) == 1
    OutboxMessage.objects.filter(kind="reminder").delete()
    assert due(FIRST + GRACE) == 0


def test_a_client_without_a_mail_address_is_not_reminded() -> None:
    one = RideFactory(rider__client__person__email="")
    lesson_changed(lesson=one.lesson, now=NOW)

    assert due(FIRST) == 0


def test_a_day_of_a_series_is_reminded_of_too() -> None:
    weekly(rides=[(RiderFactory(), None)])
    deliver_due(now=NOW)

    assert due(at("18:00", TUESDAY - timedelta(days=1))) == 1


def test_reminders_can_be_switched_off() -> None:
    School.objects.update(remind_hours=0, remind_evening_at=None)

    assert moments(at("09:00")) == {}


def test_in_quiet_hours_a_reminder_waits_for_their_end() -> None:
    """07:00 less 72 hours is 07:00, before the quiet hours' end at 08:00."""
    assert moments(at("07:00"))["hours"] == "Wed 03 Mar 08:00"
    assert moments(at("22:30"))["hours"] == "Thu 04 Mar 08:00"


def test_it_comes_before_them_where_waiting_would_pass_the_last_free_moment() -> None:
    School.objects.update(notice_hours=72)

    assert moments(at("07:00"))["hours"] == "Tue 02 Mar 20:59"
    assert moments(at("22:30"))["hours"] == "Wed 03 Mar 20:59"


def test_quiet_hours_may_lie_within_a_day() -> None:
    School.objects.update(quiet_from=time(12), quiet_to=time(14))

    assert moments(at("13:00"))["hours"] == "Wed 03 Mar 14:00"


def test_no_quiet_hours_put_nothing_off() -> None:
    School.objects.update(quiet_from=time(8), quiet_to=time(8))

    assert moments(at("07:00"))["hours"] == "Wed 03 Mar 07:00"


def test_two_reminders_close_together_are_one() -> None:
    School.objects.update(remind_hours=24)

    assert moments(at("17:00")) == {"evening": "Fri 05 Mar 18:00"}


@pytest.mark.parametrize(
    ("day", "eve_utc_hour"),
    [(SPRING_CHANGE, 17), (AUTUMN_CHANGE, 16)],
    ids=["spring", "autumn"],
)
def test_across_the_clock_change_the_evening_is_by_the_clock(
    day: date, eve_utc_hour: int
) -> None:
    """18:00 of the eve is 17:00 UTC in winter and 16:00 UTC in summer; 72 hours are
    hours, so the first comes at another clock time than the lesson's own."""
    starts_at = at("10:00", day)
    found = reminder_moments(School.objects.get(), starts_at)

    eve = day - timedelta(days=1)
    assert found["evening"] == datetime(
        eve.year, eve.month, eve.day, eve_utc_hour, tzinfo=UTC
    )
    assert starts_at.astimezone(UTC) - found["hours"] == timedelta(hours=72)
