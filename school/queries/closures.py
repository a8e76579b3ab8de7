"""When arenas are closed."""

from datetime import datetime

from django.db.models import QuerySet

from school.models import ArenaClosure


def closures_between(first: datetime, last: datetime) -> QuerySet[ArenaClosure]:
    """Return the closures of a span of time, whole or in part, by their start."""
    return ArenaClosure.objects.filter(
        closed_from__lt=last, closed_to__gt=first
    ).order_by("closed_from", "pk")
