"""What the store holds."""

from school.models import StorePiece


def store_by_place() -> list[StorePiece]:
    """Return every piece of every place, place by place, in one query."""
    return list(StorePiece.objects.order_by("place", "piece", "pk"))
