"""Answers by mail to a weekly lesson: to all weeks, to one, part by part."""

from datetime import timedelta

import pytest

from school.models import Invitation, InvitedDay, Lesson, Ride
from school.services.inbox import (
    take_mail,
)
from school.services.lessons import move_lesson
from school.services.messages import deliver_due
from tests.clock import at
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import TUESDAY, weekly
from tests.school.calendars.reply_mails import (
    ORGANISER,
    answer_lines,
    calendar_text,
    ics_time,
    reply_mail,
)
from tests.school.services.replies import LATER, answer, guardian, kept

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(notice_hours=24, organiser_email=ORGANISER)


SECOND = TUESDAY + timedelta(days=7)


def weekly_invited() -> Invitation:
    weekly(rides=[(RiderFactory(client=guardian()), None)])
    deliver_due(now=LATER)
    return Invitation.objects.get()


def original(day=SECOND) -> str:
    return f":{ics_time(at('17:00', day))}"


def test_an_answer_to_the_series_is_kept_for_all_weeks() -> None:
    weekly_invited()

    assert answer("ACCEPTED").state == "applied"
    assert kept() == "ACCEPTED"


def test_a_no_to_one_week_frees_that_week_only() -> None:
    weekly_invited()

    reply = answer("DECLINED", original=original())

    assert reply.state == "applied"
    given_back = Ride.objects.filter(state="cancelled")
    assert [ride.lesson.series_date for ride in given_back] == [SECOND]


@pytest.mark.parametrize(
    "form",
    [
        ";TZID=Europe/Amsterdam:20270316T170000",
        ";TZID=W. Europe Standard Time:20270316T170000",
        ":20270316T160000Z",
    ],
    ids=["own-zone", "windows-name", "utc"],
)
def test_a_week_is_found_by_its_moment(form: str) -> None:
    weekly_invited()

    answer("TENTATIVE", original=form)

    assert InvitedDay.objects.get(answer="TENTATIVE").lesson.series_date == SECOND


def test_a_no_to_all_weeks_waits_for_a_word() -> None:
    weekly_invited()

    reply = answer("DECLINED")

    assert (reply.state, reply.code) == ("held", "whole-series")
    assert not Ride.objects.filter(state="cancelled").exists()


def test_a_week_that_is_not_there_waits() -> None:
    weekly_invited()

    reply = answer("DECLINED", original=original(TUESDAY + timedelta(days=1)))

    assert (reply.state, reply.code) == ("held", "no-such-day")


def test_an_answer_to_the_series_is_not_stale_because_one_week_moved() -> None:
    weekly_invited()
    lesson = Lesson.objects.get(series_date=SECOND)
    move_lesson(
        lesson=lesson,
        starts_at=at("18:00", SECOND),
        version=lesson.version,
        by=None,
        now=LATER,
    )

    assert answer("ACCEPTED", sequence=0).state == "applied"
    reply = answer("DECLINED", sequence=0, original=original())
    assert (reply.state, reply.code) == ("held", "stale")


def test_a_series_sent_back_whole_is_answered_part_by_part() -> None:
    invitation = weekly_invited()
    text = calendar_text(
        [
            answer_lines(uid=str(invitation.uid)),
            answer_lines(
                uid=str(invitation.uid), partstat="DECLINED", original=original()
            ),
        ]
    )

    replies = take_mail(reply_mail(text), now=LATER)

    assert [one.state for one in replies] == ["applied", "applied"]
    assert Ride.objects.filter(state="cancelled").count() == 1
