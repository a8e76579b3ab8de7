"""What the store holds."""

from datetime import datetime

from school.enums import HOLDING_STATES
from school.models import LessonGrid, StorePiece


def store_by_place() -> list[StorePiece]:
    """Return every piece of every place, an arena's own together, in one query."""
    return list(
        StorePiece.objects.select_related("place__arena").order_by(
            "place__arena__name", "place__name", "piece", "pk"
        )
    )


def grids_ridden(first: datetime, last: datetime) -> list[LessonGrid]:
    """Return the grids of the lessons held in a time, in one query."""
    return list(
        LessonGrid.objects.filter(
            lesson__state__in=HOLDING_STATES,
            lesson__starts_at__gte=first,
            lesson__starts_at__lt=last,
        )
        .select_related("lesson__arena")
        .order_by("lesson__starts_at", "pk")
    )
