"""What would save resets: the same day ordered again with one thing changed.

Each change is tried by itself, against the day ordered without it. Where a search
ends before its proof, what it saves is what was found, and said so.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from threading import Event
from typing import Any

from scheduling.dayplan.impossible import with_second_lines
from scheduling.dayplan.order import order_day

Data = dict[str, Any]
Order = Callable[[Data, Mapping[str, Any] | None], Data]
"""Makes the plan of a day file, beginning at a plan there is."""

Band = tuple[int, int]
"""Least and greatest distance that suits every horse of a lesson [cm]."""

GAP_MIN = 10
WINGS = 10
STEP_CM = 5
"""Distances are set in steps of this."""


@dataclass(frozen=True, slots=True)
class Trial:
    """A day with one thing changed.

    Parameters
    ----------
    name
        One of `crew`, `wings`, `line`, `gap` and `distances`.
    document
        The changed day file.
    changed
        Ids of the lessons whose grids were changed.
    """

    name: str
    document: Data
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What a change saves.

    Parameters
    ----------
    name, changed
        Of the trial.
    saved_s
        Seconds of the objective (resets and moves); below 0 it costs more; None where
        the changed day keeps no plan.
    reset_s, least_reset_s
        Resets with the change [s], and the proved bound of the objective.
    proved
        Whether both plans are proved, so that the saving is exact; or that there is
        no plan.
    """

    name: str
    saved_s: int | None
    reset_s: int | None
    proved: bool
    changed: tuple[str, ...] = ()


def trials(
    document: Mapping[str, Any], bands: Mapping[str, Sequence[Band]]
) -> tuple[Trial, ...]:
    """Return the days that are tried.

    Parameters
    ----------
    document
        A day file.
    bands
        By lesson id: for each gap of its grid, from which to which distance suits all
        of its horses [cm].
    """
    found = [
        Trial("crew", {**document, "crew": document.get("crew", 1) + 1}),
        Trial("line", with_second_lines(document)),
        Trial("gap", with_gaps(document, GAP_MIN)),
    ]
    stock = dict(document.get("stock", {}))
    if "wing" in stock:
        more = {**stock, "wing": stock["wing"] + WINGS}
        found.append(Trial("wings", {**document, "stock": more}))
    changed, names = with_like_distances(document, bands)
    if names:
        found.append(Trial("distances", changed, names))
    return tuple(found)


def with_gaps(document: Mapping[str, Any], minutes: int) -> Data:
    """Return a day file in which each lesson is followed by free minutes.

    The arena is kept for so much longer, and may be reset in that time.
    """
    lessons = [
        {
            **one,
            "minutes": one["minutes"] + minutes,
            "cool_down_min": one.get("cool_down_min", 0) + minutes,
        }
        for one in document["lessons"]
    ]
    return {**document, "lessons": lessons}


def with_like_distances(
    document: Mapping[str, Any], bands: Mapping[str, Sequence[Band]]
) -> tuple[Data, tuple[str, ...]]:
    """Return a day file with rows of one kind at like distances, and whose changed.

    Rows with the same kinds of element in the same order are brought together gap by
    gap: to the distance that suits most of them, and of those to the one that changes
    least. A lesson whose bands do not hold it keeps its own.
    """
    families: dict[tuple[str, ...], list[Data]] = {}
    for one in document["lessons"]:
        if one.get("grid") and len(bands.get(one["id"], ())) == _gaps(one):
            families.setdefault(_kinds(one), []).append(one)
    new: dict[str, Data] = {}
    for its in families.values():
        for n in range(_gaps(its[0])):
            _bring_together(its, n, bands, new)
    changed = tuple(
        one["id"] for one in document["lessons"] if new.get(one["id"], one) != one
    )
    lessons = [new.get(one["id"], one) for one in document["lessons"]]
    return {**document, "lessons": lessons}, changed


def _kinds(lesson: Data) -> tuple[str, ...]:
    return tuple(one["kind"] for one in lesson["grid"]["start"])


def _gaps(lesson: Data) -> int:
    return len(lesson["grid"]["start"]) - 1


def _bring_together(
    family: list[Data],
    n: int,
    bands: Mapping[str, Sequence[Band]],
    new: dict[str, Data],
) -> None:
    """Set gap `n` of a family of rows to one distance where that suits."""
    now = {one["id"]: _gap(one, n) for one in family}

    def suits(at: int) -> tuple[int, int]:
        inside = [k for k in now if bands[k][n][0] <= at <= bands[k][n][1]]
        return len(inside), -sum(abs(now[k] - at) for k in inside)

    least = min(bands[k][n][0] for k in now)
    most = max(bands[k][n][1] for k in now)
    steps = range(-(-least // STEP_CM) * STEP_CM, most + 1, STEP_CM)
    best = max([*steps, *now.values()], key=suits)
    for one in family:
        low, high = bands[one["id"]][n]
        if low <= best <= high and now[one["id"]] != best:
            changed = new.get(one["id"], one)
            new[one["id"]] = _with_gap(changed, n, best - now[one["id"]])


def _gap(lesson: Data, n: int) -> int:
    before, one = lesson["grid"]["start"][n : n + 2]
    return int(one["at_cm"] - before["at_cm"] - before.get("spread_cm", 0))


def _with_gap(lesson: Data, n: int, by_cm: int) -> Data:
    """Return a lesson whose row is moved on from gap `n`."""
    grid = dict(lesson["grid"])
    from_cm = grid["start"][n + 1]["at_cm"]
    for key in ("start", "end"):
        if grid.get(key):
            grid[key] = [
                {
                    **one,
                    "at_cm": one["at_cm"] + (by_cm if one["at_cm"] >= from_cm else 0),
                }
                for one in grid[key]
            ]
    return {**lesson, "grid": grid}


def what_if(
    document: Mapping[str, Any],
    bands: Mapping[str, Sequence[Band]],
    *,
    order: Order | None = None,
    on_progress: Callable[[int, int], None] | None = None,
    stop: Event | None = None,
) -> dict[str, Any]:
    """Return what each change would save, as plain data.

    Parameters
    ----------
    document, bands
        As in `trials`.
    order
        Makes the plan of a day file; the engine with ten seconds unless said.
    on_progress
        Told how many days were tried, of how many.
    stop
        Once set, what was tried so far is returned.
    """
    make = order or _ordered
    tried = trials(document, bands)
    tell = on_progress or _untold
    base = make(dict(document), None)
    tell(1, len(tried) + 1)
    answers: list[Answer] = []
    for n, one in enumerate(tried, start=2):
        if stop is not None and stop.is_set():
            break
        answers.append(_answer(one, base, make(one.document, base)))
        tell(n, len(tried) + 1)
    return {
        "reset_s": base["reset_s"],
        "objective_s": base["objective_s"],
        "status": base["status"],
        "answers": [_as_data(one) for one in answers],
    }


def _ordered(document: Data, start_from: Mapping[str, Any] | None) -> Data:
    return order_day(document, seconds=10, start_from=start_from)


def _untold(tried: int, to_try: int) -> None:
    """Nobody wants to know."""


def _answer(trial: Trial, base: Data, plan: Data) -> Answer:
    if plan["status"] == "impossible":
        proved = all(one["rule"] != "time" for one in plan["broken"])
        return Answer(trial.name, None, None, proved, trial.changed)
    saved = None
    if base["status"] != "impossible":
        saved = base["objective_s"] - plan["objective_s"]
    proved = base["status"] == plan["status"] == "proved"
    return Answer(trial.name, saved, plan["reset_s"], proved, trial.changed)


def _as_data(one: Answer) -> Data:
    return {
        "name": one.name,
        "saved_s": one.saved_s,
        "reset_s": one.reset_s,
        "proved": one.proved,
        "changed": list(one.changed),
    }
