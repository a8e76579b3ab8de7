"""Learned handling times: put in use on the manager's word, and told of."""

from datetime import timedelta

import pytest

from scheduling.changeover.learning import UnableToLearn
from scheduling.convert.changeovers import stretches_of
from scheduling.services.handling import (
    UnableToUse,
    use_learned_times,
    use_usual_times,
    yard_times,
)
from school.models import AuditEntry, School
from tests.clock import NOW
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import ChangeoverFactory, ChangeoverMoveFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.timed import timed

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager():
    SchoolFactory()
    return AccountFactory(manager=True, person=None)


class TestLearning:
    def test_ticked_changeovers_tell_the_yards_times(self) -> None:
        timed(12, pace=1.5)

        found = yard_times()

        assert found.changeovers == 12
        measure = next(one for one in found.learned.times if one.key == "measure_s")
        assert measure.seconds == pytest.approx(45, rel=0.1)

    def test_nine_are_too_few(self) -> None:
        timed(9)

        with pytest.raises(UnableToLearn, match="9 of at least 10"):
            yard_times()

    def test_one_still_under_way_is_not_counted(self) -> None:
        last = timed(11)[-1]
        last.done_at = None
        last.save()

        assert yard_times().changeovers == 10

    def test_two_who_lift_together_count_as_a_pair(self) -> None:
        pair = GroundspersonFactory(alone=False)
        timed(12, who=pair, pace=0.5)

        found = yard_times().learned

        assert found.pair is not None
        assert list(found.persons) == [str(pair)]


class TestTicks:
    def test_a_step_never_ticked_counts_to_the_end(self) -> None:
        one = ChangeoverFactory(started_at=NOW, done_at=NOW + timedelta(minutes=10))
        ChangeoverMoveFactory(changeover=one)

        assert [s.seconds for s in stretches_of(one)] == [600]

    @pytest.mark.parametrize("minutes", [-120, 120], ids=["slow", "fast"])
    def test_a_telephones_wrong_clock_does_not_stretch_the_work(
        self, minutes: int
    ) -> None:
        one = ChangeoverFactory(started_at=NOW, done_at=NOW + timedelta(minutes=10))
        wrong = NOW + timedelta(minutes=minutes)
        ChangeoverMoveFactory(changeover=one, ticked_at=wrong)

        assert [s.seconds for s in stretches_of(one)] == [600]

    def test_one_not_done_tells_nothing(self) -> None:
        assert stretches_of(ChangeoverFactory(started_at=NOW)) == ()


class TestUse:
    def test_the_school_plans_with_them_and_it_is_on_record(self, manager) -> None:
        timed(12, pace=2)

        use_learned_times(changeovers=12, by=manager, now=NOW)

        school = School.objects.get()
        assert school.handling["measure_s"] == pytest.approx(60, rel=0.1)
        assert school.handling_changeovers == 12
        assert school.handling_since == NOW
        entry = AuditEntry.objects.get(action="handling")
        assert entry.by == manager
        assert entry.before == {"handling": {}, "changeovers": None}

    def test_twice_changes_nothing_more(self, manager) -> None:
        timed(12)
        use_learned_times(changeovers=12, by=manager, now=NOW)
        use_learned_times(changeovers=12, by=manager, now=NOW + timedelta(hours=1))

        assert School.objects.get().handling_since == NOW
        assert AuditEntry.objects.filter(action="handling").count() == 1

    def test_times_nobody_has_looked_at_are_not_used(self, manager) -> None:
        timed(12)

        with pytest.raises(UnableToUse) as refusal:
            use_learned_times(changeovers=11, by=manager, now=NOW)

        assert "timed since you looked" in refusal.value.says
        assert School.objects.get().handling == {}

    def test_the_usual_come_back(self, manager) -> None:
        timed(12)
        use_learned_times(changeovers=12, by=manager, now=NOW)

        use_usual_times(by=manager, now=NOW)
        use_usual_times(by=manager, now=NOW)

        school = School.objects.get()
        assert (school.handling, school.handling_changeovers) == ({}, None)
        assert AuditEntry.objects.filter(action="handling").count() == 2
