"""Tells a client who said no too late that the place is still theirs."""

from datetime import datetime

from school.calendars.told import told_of
from school.enums import MessageKind
from school.models import Client, Lesson
from school.queries.schools import the_school
from school.services.outbox import remind


def ask_on_a_page(*, client: Client, lesson: Lesson, now: datetime) -> bool:
    """Write a mail with the link to the page that asks; once for each hour booked.

    Needs the transaction of the answer it follows.
    """
    if not client.person.email:
        return False
    return remind(
        client=client,
        lesson=lesson,
        once=f"still booked {client.pk} {lesson.pk} {lesson.starts_at:%Y%m%dT%H%M}",
        told=told_of(the_school(), lesson, client.pk).as_data(),
        now=now,
        kind=MessageKind.STILL_BOOKED,
    )
