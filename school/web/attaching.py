"""Search with a lesson in hand: each exercise found is one press from it."""

from typing import Any

from django.http import HttpRequest

from school.enums import Work
from school.permissions import may_attach_grid
from school.queries.lessons import lesson_with_all
from school.queries.schools import the_school
from school.web.access import account_of


def attaching(request: HttpRequest) -> dict[str, Any]:
    """Return the lesson that is searched for, if its reader may give it a grid."""
    asked = request.GET.get("lesson", "")
    known = asked.isascii() and asked.isdigit() and len(asked) < 10
    lesson = lesson_with_all(int(asked)) if known else None
    if (
        lesson is None
        or lesson.work != Work.JUMPING
        or not may_attach_grid(account_of(request), lesson)
    ):
        return {}
    return {"lesson": lesson, "tradition": the_school().tradition}
