"""Writes that break the rules of invitations, mails and feeds."""

from collections.abc import Callable
from datetime import date
from typing import Any

from school.models import (
    FeedToken,
    Invitation,
    InvitedDay,
    MessageText,
    OutboxMessage,
)
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import (
    ClientFactory,
    PersonFactory,
)
from tests.school.models.writes import series, twice


def invitation(**changes: Any) -> Invitation:
    fields: dict[str, Any] = {"changed_at": NOW}
    if "lesson" not in changes and "series" not in changes:
        fields["lesson"] = LessonFactory()
    if "client" not in changes:
        fields["client"] = ClientFactory()
    return Invitation.objects.create(**(fields | changes))


def invitation_twice() -> None:
    lesson, client = LessonFactory(), ClientFactory()
    twice(lambda: invitation(lesson=lesson, client=client))


def weekly_invitation(**changes: Any) -> Invitation:
    dates = {"first_date": date(2027, 3, 2), "last_date": date(2027, 3, 30)}
    return invitation(**({"series": series()} | dates | changes))


def weekly_invitation_twice() -> None:
    one, client = series(), ClientFactory()
    twice(lambda: weekly_invitation(series=one, client=client))


def invited_day(**changes: Any) -> InvitedDay:
    fields: dict[str, Any] = {"original_starts_at": at("09:00"), "changed_at": NOW}
    if "invitation" not in changes:
        fields["invitation"] = weekly_invitation()
    if "lesson" not in changes:
        fields["lesson"] = LessonFactory()
    return InvitedDay.objects.create(**(fields | changes))


def invited_day_twice() -> None:
    one = weekly_invitation()
    twice(lambda: invited_day(invitation=one))


def invited_lesson_twice() -> None:
    one, lesson = weekly_invitation(), LessonFactory()
    invited_day(invitation=one, lesson=lesson)
    invited_day(invitation=one, lesson=lesson, original_starts_at=at("10:00"))


def message_text(**changes: Any) -> None:
    fields: dict[str, Any] = {
        "kind": "invite",
        "language": "en",
        "subject": "{title}",
        "body": "{day}",
        "changed_at": NOW,
    }
    MessageText.objects.create(**(fields | changes))


def message(**changes: Any) -> OutboxMessage:
    fields: dict[str, Any] = {
        "kind": "invite",
        "method": "REQUEST",
        "sequence": 0,
        "made_at": NOW,
        "next_try_at": NOW,
        "message_id": "<one@school.example.org>",
    }
    if "client" not in changes:
        fields["client"] = ClientFactory()
    if "invitation" not in changes:
        fields["invitation"] = invitation()
    return OutboxMessage.objects.create(**(fields | changes))


def message_twice() -> None:
    one = invitation()
    message(invitation=one)
    message(invitation=one, message_id="<two@school.example.org>")


def copied_twice() -> None:
    one, person = message(), PersonFactory()
    copy = {"invitation": None, "method": "", "copy_of": one, "copy_to": person}
    for n in (2, 3):
        message(message_id=f"<{n}@school.example.org>", **copy)


def feed(**changes: Any) -> None:
    fields: dict[str, Any] = {"kind": "horse", "digest": "0" * 64, "made_at": NOW}
    FeedToken.objects.create(**(fields | changes))


MAIL_BREAKS: dict[str, Callable[[], Any]] = {
    "invitation_once_a_lesson_and_client": invitation_twice,
    "invitation_once_a_series_and_client": weekly_invitation_twice,
    "invitation_to_a_lesson_or_a_series": lambda: weekly_invitation(
        lesson=LessonFactory()
    ),
    "invitation_series_from": lambda: invitation(
        first_date=SATURDAY, last_date=SATURDAY
    ),
    "invitation_series_whole": lambda: weekly_invitation(last_date=None),
    "invitation_series_begins_before_it_ends": lambda: weekly_invitation(
        last_date=date(2027, 3, 1)
    ),
    "invitation_answer_known": lambda: invitation(answer="MAYBE"),
    "invited_day_once": invited_day_twice,
    "invited_day_once_a_lesson": invited_lesson_twice,
    "invited_day_answer_known": lambda: invited_day(answer="MAYBE"),
    "message_text_once": lambda: twice(message_text),
    "message_text_kind_known": lambda: message_text(kind="joke"),
    "message_text_language_known": lambda: message_text(language="xx"),
    "message_text_subject_filled": lambda: message_text(subject=""),
    "message_text_body_filled": lambda: message_text(body=""),
    "message_once": message_twice,
    "message_copied_once": copied_twice,
    "message_copy_goes_to_somebody": lambda: message(copy_to=PersonFactory()),
    "message_kind_known": lambda: message(kind="joke"),
    "message_with_a_method_has_its_invitation": lambda: message(invitation=None),
    "message_method_known": lambda: message(method="PUBLISH"),
    "message_state_known": lambda: message(state="lost"),
    "message_sent_has_its_moment": lambda: message(state="sent"),
    "feed_has_one_holder": lambda: feed(horse=HorseFactory(), arena=ArenaFactory()),
}
