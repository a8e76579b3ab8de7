from school.models import MessageText


def own_text(kind: str, language: str) -> MessageText | None:
    """Return the school's own words for a kind of mail, if it wrote any."""
    return MessageText.objects.filter(kind=kind, language=language).first()
