"""What is kept of a day's work when the day is ordered anew."""

from uuid import uuid4

import pytest

from scheduling.services.plans import keep_what_was_done
from tests.clock import NOW, at
from tests.factories.arenas import LineFactory
from tests.factories.lessons import LessonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.scheduling.days import cross, oxer

pytestmark = pytest.mark.django_db


class TestWhatStillHolds:
    """Ticks, starts and notes when the day is ordered anew."""

    def former(self, *elements):
        plan = DayPlanFactory(state="published", published_at=NOW)
        one = ChangeoverFactory(plan=plan, started_at=at("09:45"), note="two cups")
        for n, element in enumerate(elements, start=1):
            ChangeoverMoveFactory(
                changeover=one, position=n, now=element, ticked_at=at("09:46")
            )
        return one

    def later(self, old, *elements, **other):
        new = ChangeoverFactory(
            plan=DayPlanFactory(),
            **{"lesson": old.lesson, "line": old.line, "uid": old.uid} | other,
        )
        for n, element in enumerate(elements, start=1):
            ChangeoverMoveFactory(changeover=new, position=n, now=element)
        keep_what_was_done(old.plan, new.plan)
        new.refresh_from_db()
        return new

    def test_a_tick_holds_where_its_step_does(self):
        new = self.later(self.former(cross(300), cross(900)), cross(900), oxer(1500))

        moves = new.moves.order_by("position")
        assert [one.ticked_at for one in moves] == [at("09:46"), None]
        assert (new.started_at, new.note) == (at("09:45"), "two cups")

    def test_done_with_another_step_is_work_of_its_own(self):
        old = self.former(cross(300))
        old.done_at = at("09:50")
        old.save()

        new = self.later(old, cross(300), oxer(1500))

        assert (new.started_at, new.done_at) == (None, None)

    def test_the_same_lesson_after_another_one_is_the_same_work(self):
        new = self.later(self.former(cross(300)), cross(300), uid=uuid4())

        assert new.moves.get().ticked_at == at("09:46")

    def test_a_note_goes_on_to_the_next_work_on_its_line(self):
        old = self.former(cross(300))

        new = self.later(old, cross(300), lesson=LessonFactory(), uid=uuid4())

        assert (new.note, new.started_at) == ("two cups", None)

    def test_after_the_last_work_of_a_line_it_stays_with_the_last(self):
        old = self.former(cross(300))

        new = self.later(
            old,
            lesson=LessonFactory(),
            uid=uuid4(),
            starts_at=at("08:00"),
            ends_at=at("08:10"),
        )

        assert new.note == "two cups"

    def test_a_note_for_a_line_without_work_stays_where_it_was(self):
        new = self.later(
            self.former(), lesson=LessonFactory(), line=LineFactory(), uid=uuid4()
        )

        assert new.note == ""
