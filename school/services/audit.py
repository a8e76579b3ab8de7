"""Every write that matters leaves an entry: who, when, what, before and after."""

from datetime import datetime
from typing import Any

from django.db.models import Model
from django.forms.models import model_to_dict

from school.models import Account, AuditEntry


def record(
    *,
    by: Account | None,
    at: datetime,
    action: str,
    subject: Model,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> None:
    """Write an audit entry; within the transaction of what it tells of."""
    entry_of(
        by=by, at=at, action=action, subject=subject, before=before, after=after
    ).save()


def entry_of(
    *,
    by: Account | None,
    at: datetime,
    action: str,
    subject: Model,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> AuditEntry:
    """Return an audit entry that is not yet written, where many go at once."""
    return AuditEntry(
        at=at,
        by=by,
        action=action,
        subject=subject._meta.model_name or "",
        subject_id=str(subject.pk),
        before=before,
        after=after,
    )


def snapshot(subject: Model) -> dict[str, Any]:
    """Return the plain fields of a record, for before and after."""
    fields = [
        field.name for field in subject._meta.concrete_fields if not field.primary_key
    ]
    return {
        name: value if isinstance(value, bool | int | str | None) else str(value)
        for name, value in model_to_dict(subject, fields=fields).items()
    }
