"""What the school itself is set to."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from school.models import Account, School
from school.queries.schools import the_school
from school.services.audit import record, snapshot


def set_mail_settings(
    *, values: Mapping[str, Any], by: Account | None, now: datetime
) -> School:
    """Set how mails to clients are timed and what they say of the school."""
    with transaction.atomic():
        school = School.objects.select_for_update().get(pk=the_school().pk)
        before = snapshot(school)
        for name, value in values.items():
            setattr(school, name, value)
        school.save(update_fields=list(values))
        record(
            by=by,
            at=now,
            action="set mails",
            subject=school,
            before=before,
            after=snapshot(school),
        )
        return school
