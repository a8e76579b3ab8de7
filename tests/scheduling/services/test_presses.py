"""What was pressed without signal: in order, once, and nothing lost."""

from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError

from scheduling.models import Changeover, DayPlan, Press, Standing
from scheduling.queries.presses import kept_presses
from scheduling.services import presses
from scheduling.services.changeovers import UnableToReset
from scheduling.services.presses import Sent, take_press, take_presses
from school.models import AuditEntry, Lesson
from tests.clock import SATURDAY, at
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, oxer

pytestmark = pytest.mark.django_db

BACK = at("11:00")
"""When the signal is back."""


@pytest.fixture
def changeover() -> Changeover:
    SchoolFactory()
    one = ChangeoverFactory(
        plan=DayPlanFactory(state="published"), lesson__title="Pony group"
    )
    ChangeoverMoveFactory(changeover=one, position=1, now=cross(300))
    ChangeoverMoveFactory(changeover=one, position=2, now=cross(1240))
    return one


@pytest.fixture
def renske():
    return AccountFactory(
        person=GroundspersonFactory(person__first_name="Renske").person
    )


def sent(one: Changeover, does: str, clock: str = "09:45", **other) -> Sent:
    values = {
        "uid": uuid4(),
        "phone": UUID(int=7),
        "number": 1,
        "pressed_at": at(clock),
    } | other
    return Sent(does=does, changeover=one.pk, **values)


def tick(one: Changeover, position: int, clock: str = "09:46", **other) -> Sent:
    move = one.moves.get(position=position)
    return sent(one, "tick", clock, move=move.pk, **other)


def successor(one: Changeover, *elements, lesson: Lesson | None = None) -> Changeover:
    """Order the day anew: the same work with these fences to build."""
    DayPlan.objects.update(state="replaced")
    new = ChangeoverFactory(
        plan=DayPlanFactory(state="published"),
        lesson=lesson or one.lesson,
        line=one.line,
        uid=one.uid if lesson is None else uuid4(),
    )
    for n, element in enumerate(elements, start=1):
        ChangeoverMoveFactory(changeover=new, position=n, now=element)
    return new


def test_a_tick_is_kept_at_the_moment_it_was_pressed(changeover, renske):
    press = take_press(sent=tick(changeover, 1), by=renske, now=BACK)

    assert press.outcome == "taken"
    assert changeover.moves.get(position=1).ticked_at == at("09:46")
    assert (press.pressed_at, press.received_at) == (at("09:46"), BACK)
    assert press.did.startswith("Ticked: Build a cross")


def test_presses_are_taken_in_the_order_of_their_phone(changeover, renske):
    asked = [
        sent(changeover, "done", "09:55", number=4),
        tick(changeover, 1, "09:47", number=2),
        sent(changeover, "start", number=1),
        sent(changeover, "trouble", "09:50", number=3, what="A piece is broken"),
    ]

    taken = take_presses(sent=asked, by=renske, now=BACK)

    assert [one.does for one in taken] == ["start", "tick", "trouble", "done"]
    assert {one.outcome for one in taken} == {"taken"}
    changeover.refresh_from_db()
    assert changeover.started_at == at("09:45")
    assert changeover.done_at == at("09:55")
    assert changeover.note == "A piece is broken"
    assert Standing.objects.get().elements == [cross(300), cross(1240)]


def test_what_is_sent_twice_is_taken_once(changeover, renske):
    asked = tick(changeover, 1)

    first = take_press(sent=asked, by=renske, now=BACK)
    again = take_press(sent=asked, by=renske, now=BACK + timedelta(minutes=5))

    assert again == first
    assert (again.outcome, again.received_at) == ("taken", BACK)
    assert AuditEntry.objects.filter(action="tick").count() == 1


def test_of_two_sendings_at_once_the_slower_answers_as_the_quicker(
    changeover, renske, monkeypatch
):
    asked = tick(changeover, 1)
    first = take_press(sent=asked, by=renske, now=BACK)
    # As if the other had not been there yet when this one looked.
    looked = []

    def blind(**which):
        looked.append(which)
        real = Press.objects.get_queryset().filter(**which)
        return real.none() if len(looked) == 1 else real

    monkeypatch.setattr(presses.Press.objects, "filter", blind)

    assert take_press(sent=asked, by=renske, now=BACK) == first


def test_a_tick_twice_by_two_phones_stays_the_first_ones(changeover, renske):
    okke = AccountFactory(person=GroundspersonFactory(person__first_name="Okke").person)
    take_press(sent=tick(changeover, 1, "09:46"), by=okke, now=BACK)

    press = take_press(sent=tick(changeover, 1, "09:49"), by=renske, now=BACK)

    assert (press.outcome, press.says) == ("already", "Okke ticked it at 08:46.")
    assert changeover.moves.get(position=1).ticked_by == okke


@pytest.mark.parametrize(
    ("does", "says"),
    [("start", "It was started at"), ("done", "It was done at"), ("untick", "")],
)
def test_the_same_twice_changes_nothing(changeover, renske, does, says):
    move = changeover.moves.get(position=1).pk
    if does != "untick":
        take_press(sent=sent(changeover, does), by=renske, now=BACK)

    press = take_press(
        sent=sent(changeover, does, "09:50", move=move), by=renske, now=BACK
    )

    assert press.outcome == "already"
    assert says in press.says


def test_the_same_trouble_twice_is_said_once(changeover, renske):
    for outcome in ("taken", "already"):
        press = take_press(
            sent=sent(changeover, "trouble", what="Not this way"), by=renske, now=BACK
        )
        assert press.outcome == outcome
    changeover.refresh_from_db()
    assert changeover.note == "Not this way"


def test_done_before_start_is_taken_and_said(changeover, renske):
    press = take_press(sent=sent(changeover, "done"), by=renske, now=BACK)

    changeover.refresh_from_db()
    assert changeover.done_at == at("09:45")
    assert press.outcome == "taken"
    assert "its time is not counted" in press.says


def test_for_a_cancelled_lesson_it_is_kept_and_said_since_when(changeover, renske):
    marga = AccountFactory(manager=True, person=GroundspersonFactory().person)
    marga.person.first_name = "Marga"
    marga.person.save()
    Lesson.objects.filter(pk=changeover.lesson_id).update(
        state="cancelled", state_reason="ill", state_at=at("09:40"), state_by=marga
    )

    press = take_press(
        sent=sent(changeover, "trouble", what="A piece is broken", says="two cups"),
        by=renske,
        now=BACK,
    )

    assert press.outcome == "kept"
    assert "Pony group was cancelled at 08:40 by Marga" in press.says
    assert "ill" not in press.says.split()
    assert press.did == "Trouble: A piece is broken: two cups"
    assert kept_presses(SATURDAY) == [press]


def test_a_tick_pressed_when_its_day_is_over_is_kept(changeover, renske):
    sunday = BACK + timedelta(days=1)
    late = tick(changeover, 1, pressed_at=sunday)

    press = take_press(sent=late, by=renske, now=sunday)

    assert press.outcome == "kept"
    assert "for Saturday 6 March, and that day is over" in press.says
    assert changeover.moves.get(position=1).ticked_at is None


def test_done_pressed_when_its_day_is_over_tells_nothing_of_the_line(
    changeover, renske
):
    sunday = BACK + timedelta(days=1)

    take_press(sent=sent(changeover, "done", pressed_at=sunday), by=renske, now=sunday)

    assert not Standing.objects.exists()


def test_a_tick_of_yesterday_that_comes_today_is_taken(changeover, renske):
    sunday = BACK + timedelta(days=1)

    press = take_press(sent=tick(changeover, 1), by=renske, now=sunday)

    assert press.outcome == "taken"
    assert changeover.moves.get(position=1).ticked_at == at("09:46")


def test_nothing_is_pressed_in_the_future(changeover, renske):
    press = take_press(sent=tick(changeover, 1, "23:00"), by=renske, now=BACK)

    assert press.pressed_at == BACK


def test_starting_while_the_arena_is_ridden_is_taken_with_a_warning(changeover, renske):
    LessonFactory(
        title="Cobs",
        arena=changeover.line.arena,
        starts_at=at("09:00"),
        ends_at=at("10:00"),
        instructor__person__first_name="Ines",
    )

    press = take_press(sent=sent(changeover, "start"), by=renske, now=BACK)

    changeover.refresh_from_db()
    assert changeover.started_at == at("09:45")
    assert press.outcome == "taken"
    assert "is booked for Cobs until 09:00 (Ines)" in press.says
    assert "Go in only when" in press.says


@pytest.mark.parametrize(("clock", "warned"), [("10:05", False), ("10:20", True)])
def test_in_a_lessons_own_warm_up_it_may_be_built(changeover, renske, clock, warned):
    Lesson.objects.filter(pk=changeover.lesson_id).update(warm_up_min=15)

    press = take_press(sent=sent(changeover, "start", clock), by=renske, now=BACK)

    assert bool(press.says) == warned


class TestTheDayWasOrderedAnew:
    def test_a_tick_of_a_step_that_stays_is_taken_there(self, changeover, renske):
        new = successor(changeover, oxer(500), cross(1240))

        press = take_press(sent=tick(changeover, 2), by=renske, now=BACK)

        assert press.outcome == "taken"
        assert press.changeover == new
        assert [bool(m.ticked_at) for m in new.moves.order_by("position")] == [
            False,
            True,
        ]

    def test_a_tick_of_a_step_that_is_no_more_is_kept(self, changeover, renske):
        successor(changeover, oxer(500))

        press = take_press(sent=tick(changeover, 1), by=renske, now=BACK)

        assert press.outcome == "kept"
        assert "no longer on the list" in press.says
        assert press.did.startswith("Ticked: Build a cross")

    def test_work_that_is_no_more_keeps_its_presses_as_notes(self, changeover, renske):
        successor(changeover, oxer(500), lesson=LessonFactory(starts_at=at("13:00")))

        taken = take_presses(
            sent=[sent(changeover, "start"), tick(changeover, 1, number=2)],
            by=renske,
            now=BACK,
        )

        assert {one.outcome for one in taken} == {"kept"}
        assert "ordered anew" in taken[0].says

    def test_done_by_the_old_list_is_not_done_by_another(self, changeover, renske):
        new = successor(changeover, oxer(500))

        press = take_press(sent=sent(changeover, "done"), by=renske, now=BACK)

        new.refresh_from_db()
        assert (press.outcome, new.done_at) == ("kept", None)
        assert "asks for other steps here" in press.says
        assert "What was built is kept as what stands." in press.says
        standing = Standing.objects.get()
        assert standing.elements == [cross(300), cross(1240)]
        assert (standing.as_of_at, standing.corrected_by) == (at("09:45"), renske)

    def test_what_was_seen_there_since_stays(self, changeover, renske):
        successor(changeover, oxer(500))
        Standing.objects.create(line=changeover.line, as_of_at=at("10:30"))

        take_press(sent=sent(changeover, "done"), by=renske, now=BACK)

        assert Standing.objects.get().elements == []

    def test_done_by_the_same_steps_is_done_there(self, changeover, renske):
        new = successor(changeover, cross(300), cross(1240))

        press = take_press(sent=sent(changeover, "done"), by=renske, now=BACK)

        new.refresh_from_db()
        assert (press.outcome, new.done_at) == ("taken", at("09:45"))

    def test_without_any_list_it_is_kept(self, changeover, renske):
        DayPlan.objects.update(state="replaced")

        press = take_press(sent=tick(changeover, 1), by=renske, now=BACK)

        assert press.outcome == "kept"


def test_a_step_of_another_list_is_kept(changeover, renske):
    other = ChangeoverMoveFactory()

    press = take_press(
        sent=sent(changeover, "tick", move=other.pk), by=renske, now=BACK
    )

    assert (press.outcome, press.did) == ("kept", "Ticked")


def test_a_list_nobody_knows_is_said(changeover, renske):
    gone = Sent(uuid4(), None, 1, "start", at("09:45"), changeover.pk + 99)

    with pytest.raises(UnableToReset, match="not known here"):
        take_press(sent=gone, by=renske, now=BACK)


def test_a_trouble_without_a_word_is_asked_again(changeover, renske):
    with pytest.raises(UnableToReset, match="what is the trouble"):
        take_press(sent=sent(changeover, "trouble"), by=renske, now=BACK)
    assert not Press.objects.exists()


def test_a_press_without_a_name_is_told_so(changeover):
    take_press(sent=tick(changeover, 1), by=None, now=BACK)

    press = take_press(sent=tick(changeover, 1), by=None, now=BACK)

    assert press.says.startswith("somebody ticked it")


def test_an_error_of_the_database_is_no_second_sending(changeover, renske, monkeypatch):
    def broken(*_: object) -> datetime:
        raise IntegrityError("something else")

    monkeypatch.setattr(presses, "_take", broken)

    with pytest.raises(IntegrityError):
        take_press(sent=tick(changeover, 1), by=renske, now=BACK)
