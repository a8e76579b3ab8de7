"""Somebody or something out, looked at and pressed, for tests."""

from uuid import uuid4

from scheduling.services.touched import Foretold, Settled, foretell_out, settle
from school.models import (
    Lesson,
)
from school.services.out import Out
from tests.clock import NOW, at
from tests.factories.lessons import RideFactory

TOLD = "The instructor can't come."


def out(teacher, first="00:00", last="23:59", **more) -> Out:
    fields = {"reason": "sick"} | more
    return Out("instructor", teacher.pk, at(first), at(last), **fields)


def looked(what: Out, chosen=None, now=NOW) -> Foretold:
    return foretell_out(out=what, told=TOLD, chosen=chosen or {}, by=None, now=now)


def pressed(what: Out, seen: Foretold, *, uid="", chosen=None, now=NOW) -> Settled:
    return settle(
        out=what,
        told=TOLD,
        chosen=chosen or {},
        seen=seen.digest,
        versions={x.lesson.pk: x.lesson.version for x in seen.proposal.items},
        uid=uid or str(uuid4()),
        by=None,
        now=now,
    )


def lesson_of(teacher, start="09:00", **more) -> Lesson:
    ride = RideFactory(lesson__instructor=teacher, lesson__starts_at=at(start), **more)
    return ride.lesson


def says(found: Foretold) -> list[str]:
    return [one.says for one in found.proposal.items]
