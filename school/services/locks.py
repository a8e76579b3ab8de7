"""Who wants the same arena, person or horse at the same moment waits their turn.

The database refuses two holdings at once by itself. But two writers that each wait
for the other's would be ended there as a deadlock, which says nothing to anybody;
so each takes its turn first, and the second is told in words what is taken. SQLite
has one writer at a time anyway.
"""

from collections.abc import Iterable

from django.db import connection
from django.db.models import Model

from school.models import Arena, Horse, Person, School


def take_turn(
    *,
    arenas: Iterable[int] = (),
    people: Iterable[int] = (),
    horses: Iterable[int | None] = (),
    leaders: bool = False,
) -> None:
    """Hold rows until the transaction ends, always in the same order.

    The `leaders` of lead-rein lessons are the school's, whatever the arena.
    """
    if not connection.features.has_select_for_update:
        return
    wanted: list[tuple[type[Model], Iterable[int | None]]] = [
        (School, [1] if leaders else []),
        (Arena, arenas),
        (Person, people),
        (Horse, horses),
    ]
    for model, keys in wanted:
        known = {key for key in keys if key}
        if known:
            rows = model._default_manager.filter(pk__in=known).order_by("pk")
            # Not against foreign keys: who only points at a row need not wait.
            list(rows.select_for_update(no_key=True).values_list("pk", flat=True))
