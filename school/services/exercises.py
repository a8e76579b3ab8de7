"""Chooses between the library's state of an exercise and the school's own."""

from datetime import datetime

from django.db import transaction

from exercises import services as library
from exercises.models import Exercise
from school.models import Account
from school.services.audit import record


def take_librarys(*, exercise: Exercise, by: Account | None, now: datetime) -> Exercise:
    """Ride an exercise as the library has it from now on; lessons keep theirs.

    Raises
    ------
    UnableToChoose
        For an exercise that no library has.
    """
    with transaction.atomic():
        before = _locked(exercise).current_id
        taken = library.take_librarys(exercise=exercise)
        if taken.current_id != before:
            record(
                by=by,
                at=now,
                action="take the library's",
                subject=taken,
                before={"revision": before},
                after={"revision": taken.current_id},
            )
        return taken


def keep_ours(*, exercise: Exercise, by: Account | None, now: datetime) -> Exercise:
    """Stay with the school's own state, having looked at the library's newest.

    Raises
    ------
    UnableToChoose
        For an exercise that no library has, or that the school has not changed.
    """
    with transaction.atomic():
        before = _locked(exercise).kept_id
        kept = library.keep_ours(exercise=exercise)
        if kept.kept_id != before:
            record(
                by=by,
                at=now,
                action="keep the school's own",
                subject=kept,
                before={"against": before},
                after={"against": kept.kept_id},
            )
        return kept


def _locked(exercise: Exercise) -> Exercise:
    return Exercise.objects.select_for_update().get(pk=exercise.pk)
