from school.enums import ReplyState
from school.models import Reply


def held_replies() -> list[Reply]:
    """Return the replies that wait for a person, the oldest first."""
    return list(
        Reply.objects.filter(state=ReplyState.HELD)
        .select_related(
            "invitation__client__person",
            "invitation__lesson__arena",
            "invitation__series",
        )
        .order_by("received_at", "pk")
    )


def late_replies(limit: int = 40) -> list[Reply]:
    """Return what came last and waits for nobody, for looking back."""
    return list(
        Reply.objects.exclude(state=ReplyState.HELD)
        .select_related("invitation__client__person", "settled_by")
        .order_by("-received_at", "-pk")[:limit]
    )
