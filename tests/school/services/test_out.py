"""Who or what is out, as it is written down and ended."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from school.models import ArenaClosure, AuditEntry, HorseState
from school.services.out import Out, come_back, note_out, without
from school.services.refusals import UnableToBook
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.schools import SchoolFactory


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.one_of(st.none(), st.integers(1, 12))),
        max_size=6,
    )
)
def test_what_is_left_of_a_time_is_what_nothing_holds(held) -> None:
    """Held against marking every hour by itself."""

    def hour(n: int):
        return NOW + timedelta(hours=n)

    spans = [(hour(a), None if b is None else hour(a + b)) for a, b in held]
    left = without((hour(5), hour(20)), spans)

    free = {
        n
        for n in range(5, 20)
        if not any(a <= n and (b is None or n < a + b) for a, b in held)
    }
    marked = [n for n in range(40) for a, b in left if a <= hour(n) < b]
    assert sorted(marked) == sorted(free)
    assert all(a < b for a, b in left)


@pytest.mark.django_db
def test_a_lesson_that_was_not_settled_keeps_its_arena_from_being_closed() -> None:
    SchoolFactory()
    lesson = LessonFactory()
    out = Out("arena", lesson.arena_id, at("08:00"), at("12:00"), "frost")

    with pytest.raises(UnableToBook, match="Somebody was quicker"):
        note_out(out=out, by=None, now=NOW)

    assert not ArenaClosure.objects.exists()


@pytest.mark.django_db
def test_a_horse_that_is_back_early_may_be_booked_from_then_on() -> None:
    SchoolFactory()
    horse = HorseFactory()
    out = Out("horse", horse.pk, at("00:00"), at("23:59"), "lame")
    note_out(out=out, by=None, now=NOW)
    state = HorseState.objects.get()

    for _ in range(2):
        come_back(kind="horse", pk=state.pk, by=None, now=at("09:00"))

    state.refresh_from_db()
    assert state.state_to == at("09:00")
    assert AuditEntry.objects.filter(action="back").count() == 1


@pytest.mark.django_db
def test_a_closure_that_has_not_begun_is_taken_back() -> None:
    SchoolFactory()
    out = Out("arena", ArenaFactory().pk, at("08:00"), at("12:00"), "frost")
    (row,) = note_out(out=out, by=None, now=NOW)

    come_back(kind="arena", pk=row.pk, by=None, now=NOW)

    assert not ArenaClosure.objects.exists()
    with pytest.raises(UnableToBook, match="not there any more"):
        come_back(kind="arena", pk=row.pk or 1, by=None, now=NOW)
