"""The school's handling times: learned from its ticks, in use on the manager's word."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from scheduling.changeover.learning import Learned, learn
from scheduling.convert.changeovers import stretches_of
from scheduling.queries.changeovers import timed_changeovers
from school.models import Account, School
from school.services.audit import record


class UnableToUse(ValueError):
    """Times that are not put in use, and why in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


@dataclass(frozen=True, slots=True)
class YardTimes:
    """What the ticks of a yard tell, and of how many changeovers."""

    learned: Learned
    changeovers: int


def yard_times() -> YardTimes:
    """Return the times that the latest changeovers tell.

    Raises
    ------
    UnableToLearn
        While too few changeovers were timed.
    """
    told = [stretches_of(one) for one in timed_changeovers()]
    timed = [one for one in told if one]
    seen = [stretch for one in timed for stretch in one]
    return YardTimes(learn(seen, len(timed)), len(timed))


def use_learned_times(*, changeovers: int, by: Account | None, now: datetime) -> School:
    """Plan with the learned times from now on.

    Parameters
    ----------
    changeovers
        How many the times were learned from that the manager looked at.

    Raises
    ------
    UnableToUse
        Where more changeovers were timed in the meantime.
    UnableToLearn
        While too few were timed.
    """
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        found = yard_times()
        if found.changeovers != changeovers:
            raise UnableToUse(
                "Another changeover was timed since you looked. "
                "Look at the times again, and then put them in use."
            )
        if school.handling_changeovers == changeovers:
            return school
        return _change(school, found.learned.handling(), changeovers, by, now)


def use_usual_times(*, by: Account | None, now: datetime) -> School:
    """Plan with the usual estimates again."""
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        if not school.handling:
            return school
        return _change(school, {}, None, by, now)


def _change(
    school: School,
    handling: dict[str, object],
    changeovers: int | None,
    by: Account | None,
    now: datetime,
) -> School:
    before = {
        "handling": school.handling,
        "changeovers": school.handling_changeovers,
    }
    school.handling = handling
    school.handling_changeovers = changeovers
    school.handling_since = now
    school.save(update_fields=["handling", "handling_changeovers", "handling_since"])
    record(
        by=by,
        at=now,
        action="handling",
        subject=school,
        before=before,
        after={"handling": handling, "changeovers": changeovers},
    )
    return school
