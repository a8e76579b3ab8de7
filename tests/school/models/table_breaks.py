"""Writes that break the rules of references and of files sent."""

from collections.abc import Callable
from typing import Any

from school.models import OwnReference, TableFile
from tests.clock import NOW
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory


def twice(**things: Any) -> None:
    ((what, make),) = things.items()
    for _ in range(2):
        OwnReference.objects.create(text="A", **{what: make()})


def table(**changes: Any) -> TableFile:
    fields = {
        "kind": "horses", "name": "t.csv", "digest": "0" * 64, "sent_at": NOW,
        "expires_at": NOW.replace(day=3), "headers": [], "rows": [], "numbers": [],
        "mapping": [],
    }  # fmt: skip
    return TableFile.objects.create(sent_by=AccountFactory(), **(fields | changes))


TABLE_BREAKS: dict[str, Callable[[], Any]] = {
    "reference_filled": lambda: OwnReference.objects.create(
        text="", horse=HorseFactory()
    ),
    "reference_of_one_thing": lambda: OwnReference.objects.create(
        text="A", horse=HorseFactory(), rider=RiderFactory()
    ),
    "reference_once_for_a_horse": lambda: twice(horse=HorseFactory),
    "reference_once_for_a_rider": lambda: twice(rider=RiderFactory),
    "reference_once_for_a_instructor": lambda: twice(instructor=InstructorFactory),
    "reference_once_for_a_lesson": lambda: twice(lesson=LessonFactory),
    "table_file_kind_known": lambda: table(kind="saddles"),
    "table_file_digest_filled": lambda: table(digest=""),
    "table_file_expires_after_it_came": lambda: table(expires_at=NOW),
}
