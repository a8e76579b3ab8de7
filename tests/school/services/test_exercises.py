"""Choosing between the library's state and the school's own is kept with a name."""

import pytest

from exercises.convert import spec_of
from exercises.models import Exercise
from exercises.services import load_library, revise_exercise
from school.models import AuditEntry
from school.services.exercises import keep_ours, take_librarys
from tests.clock import NOW
from tests.factories.people import AccountFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def exercise() -> Exercise:
    load_library(now=NOW)
    one = Exercise.objects.get(slug="bounce-pair")
    revise_exercise(exercise=one, spec=spec_of(one.current), by="ilka", now=NOW)
    Exercise.objects.update(kept=None)
    one.refresh_from_db()
    return one


def test_taking_the_librarys_is_audited_once(exercise: Exercise) -> None:
    by, ours = AccountFactory(manager=True), exercise.current_id

    take_librarys(exercise=exercise, by=by, now=NOW)
    taken = take_librarys(exercise=exercise, by=by, now=NOW)

    entry = AuditEntry.objects.get()
    assert (entry.by, entry.action) == (by, "take the library's")
    assert entry.before == {"revision": ours}
    assert entry.after == {"revision": taken.current_id}


def test_keeping_ours_is_audited_once(exercise: Exercise) -> None:
    by = AccountFactory(manager=True)

    keep_ours(exercise=exercise, by=by, now=NOW)
    kept = keep_ours(exercise=exercise, by=by, now=NOW)

    entry = AuditEntry.objects.get()
    assert (entry.by, entry.action) == (by, "keep the school's own")
    assert entry.after == {"against": kept.library_id}
