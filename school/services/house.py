"""Values of the school's own record, set at once and noted."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from school.models import Account, School
from school.services.audit import record


def set_values(
    *, values: Mapping[str, object], action: str, by: Account | None, now: datetime
) -> School:
    """Set values that were checked, each by its name in the record; twice is once."""
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        before = {name: getattr(school, name) for name in values}
        if before == values:
            return school
        for name, value in values.items():
            setattr(school, name, value)
        school.save(update_fields=list(values))
        record(
            by=by,
            at=now,
            action=action,
            subject=school,
            before=before,
            after=dict(values),
        )
        return school
