"""Two who are out on one day: each action sees what the other has changed."""

from functools import partial
from uuid import uuid4

import pytest

from scheduling.services.touched import foretell_out, settle
from school.models import ArenaClosure, InstructorAbsence, Lesson
from school.services.out import Out
from school.services.refusals import UnableToBook
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.services.touched import TOLD, looked, out, pressed, says
from tests.school.services.test_races import in_words, race

pytestmark = pytest.mark.django_db(transaction=True)


def frozen() -> Out:
    hall = Lesson.objects.earliest("pk").arena
    return Out("arena", hall.pk, at("00:00"), at("23:59"), "frozen")


@pytest.fixture
def ilka():
    """Ilka's two lessons in the Hall, the first of which Arno or the Ring could take.

    At eleven Arno teaches in the Ring, so the second is moved or cancelled.
    """
    SchoolFactory()
    hall, ring = ArenaFactory(name="Hall"), ArenaFactory(name="Ring")
    ilka, arno = (InstructorFactory(person__first_name=x) for x in ("Ilka", "Arno"))
    for clock in ("09:00", "11:00"):
        RideFactory(
            lesson__instructor=ilka, lesson__arena=hall, lesson__starts_at=at(clock)
        )
    RideFactory(
        lesson__instructor=arno, lesson__arena=ring, lesson__starts_at=at("11:00")
    )
    return ilka


def held() -> list[tuple[str, str]]:
    """Return who teaches where what is still held of the two lessons."""
    lessons = Lesson.objects.filter(state="booked").order_by("pk")
    return [(x.instructor.person.first_name, x.arena.name) for x in lessons]


def test_an_arena_frozen_after_its_instructor_fell_sick_moves_who_stands_in(
    ilka,
) -> None:
    pressed(out(ilka), looked(out(ilka)))
    assert held()[0] == ("Arno", "Hall")

    seen = looked(frozen())

    assert all(one.startswith("Arno, Ring") for one in says(seen)), says(seen)
    pressed(frozen(), seen)
    assert set(held()) == {("Arno", "Ring")}


def test_an_instructor_sick_after_the_arena_froze_is_stood_in_for_where_it_went(
    ilka,
) -> None:
    pressed(frozen(), looked(frozen()))
    assert held()[0] == ("Ilka", "Ring")

    seen = looked(out(ilka))

    assert all(one.startswith("Arno, Ring") for one in says(seen)), says(seen)
    pressed(out(ilka), seen)
    assert set(held()) == {("Arno", "Ring")}


@pytest.mark.parametrize("sick_first", [True, False])
def test_what_was_looked_at_before_the_other_was_done_is_not_done(
    ilka, sick_first: bool
) -> None:
    both = [out(ilka), frozen()] if sick_first else [frozen(), out(ilka)]
    seen = [looked(one) for one in both]
    pressed(both[0], seen[0])
    was = held()

    with pytest.raises(UnableToBook, match="Look again, then decide"):
        pressed(both[1], seen[1])

    assert held() == was
    assert InstructorAbsence.objects.count() + ArenaClosure.objects.count() == 1


def pressing(what: Out):
    seen = foretell_out(out=what, told=TOLD, chosen={}, by=None, now=NOW)
    versions = {x.lesson.pk: x.lesson.version for x in seen.proposal.items}
    return partial(
        settle, out=what, told=TOLD, chosen={}, seen=seen.digest, versions=versions,
        uid=str(uuid4()), by=None, now=NOW,
    )  # fmt: skip


def test_of_two_managers_at_once_one_is_done_and_the_other_told(ilka) -> None:
    won, told, broken = race([pressing(out(ilka)), pressing(frozen())])

    assert (won, broken) == (1, [])
    assert in_words(told)
    if InstructorAbsence.objects.exists():
        assert "Ilka" not in {teacher for teacher, _ in held()}
        assert not ArenaClosure.objects.exists()
    else:
        assert "Hall" not in {arena for _, arena in held()}
