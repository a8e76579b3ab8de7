"""Why a changeover costs what it does, in words."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from scheduling.dayplan.day import clock
from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.reasons import Instead, Obstacle, Reason, Reasons, Rule
from scheduling.models import Changeover, DayPlan
from scheduling.queries.keys import key_of
from scheduling.wording import held_words
from school.models import Arena, Lesson

CLEARED = ["The line is cleared: what stands is taken to the store."]

TOO_OLD = ["The plan is too old to say more."]
"""A plan of another day's settings: its cost is known, its reasons are not."""


def reason_of(changeover: Changeover) -> list[str]:
    """Return sentences: what it costs, what else would, and what is in the way."""
    return _said(changeover.plan, [changeover])[0].says


@dataclass(frozen=True, slots=True)
class Said:
    """Why a changeover costs what it does, and what another slot would save [s]."""

    changeover: Changeover
    says: list[str]
    saved_s: int


def reasons_of_plan(plan: DayPlan, changeovers: Sequence[Changeover]) -> list[Said]:
    """Return the reasons of a plan's changeovers, where most could be saved first.

    What saves the same is told as the day goes.
    """
    said = _said(plan, changeovers)
    return sorted(
        said,
        key=lambda one: (-one.saved_s, one.changeover.starts_at, one.changeover.pk),
    )


def _said(plan: DayPlan, changeovers: Sequence[Changeover]) -> list[Said]:
    lines = {one["id"]: one["line"] for one in plan.plan.get("lessons", [])}
    known: tuple[Reasons, _Words] | None = None
    with suppress(InvalidDay, KeyError):
        known = Reasons(plan.document, plan.plan), _Words(plan)
    said = []
    for one in changeovers:
        name = f"lesson-{one.lesson_id}"
        if lines.get(name) is None:
            said.append(Said(one, CLEARED, 0))
            continue
        if known is None:
            said.append(Said(one, TOO_OLD, 0))
            continue
        reasons, words = known
        try:
            reason = reasons.of(name)
        except (KeyError, StopIteration):
            said.append(Said(one, TOO_OLD, 0))
            continue
        saved_s = 0 if reason.instead is None else reason.instead.saved_s
        sentences = words.sentences(reason, one.title)
        said.append(Said(one, sentences, saved_s))
    return said


WORTH_SAYING_S = 60
"""What saves less than this is not worth a sentence."""


def _minutes(seconds: int) -> str:
    return f"{-(-seconds // 60)} min"


class _Words:
    def __init__(self, plan: DayPlan) -> None:
        keys = [
            key_of(one["id"])
            for one in plan.plan["lessons"]
            if one["id"].startswith("lesson-")
        ]
        self.titles = dict(
            Lesson.objects.filter(pk__in=keys).values_list("pk", "title")
        )
        self.arenas = dict(Arena.objects.values_list("pk", "name"))
        self.day = {one["id"]: one for one in plan.document["lessons"]}
        self.weights = plan.document.get("weights", {})

    def title(self, name: str) -> str:
        if not name.startswith("lesson-"):
            return held_words(name)
        return self.titles.get(key_of(name), "a lesson that is gone")

    def sentences(self, reason: Reason, own: str) -> list[str]:
        first = (
            f"It takes {_minutes(reason.reset_s)}; on a bare line the same grid would "
            f"take {_minutes(reason.bare_s)}."
        )
        lines = [first]
        if reason.cheapest_s is not None and reason.cheapest_after is not None:
            lines.append(
                f"The grid that suits best before it is that of "
                f"{self.title(reason.cheapest_after)}: {_minutes(reason.cheapest_s)}."
            )
        if reason.instead is None or reason.instead.saved_s < WORTH_SAYING_S:
            lines.append(
                "No other time or arena for it, and no exchange with another lesson, "
                "would save a minute over the day."
            )
        else:
            lines += self.instead(reason.instead, own)
        return lines

    def instead(self, one: Instead, own: str) -> list[str]:
        arena = self.arenas.get(key_of(one.arena), "another arena")
        where = f"at {clock(one.start_min)} in {arena}"
        what = f"With {own} {where}"
        if one.swapped is not None:
            what = f"With {own} {where}, in exchange with {self.title(one.swapped)},"
        minutes, seconds = divmod(one.saved_s, 60)
        saved = f"{what} the day would need {minutes} min {seconds} s less"
        if not one.obstacles:
            return [f"{saved}, and nothing forbids it: order the day again."]
        but = "; ".join(self.obstacle(x) for x in one.obstacles)
        return [f"{saved}, but {but}."]

    def obstacle(self, one: Obstacle) -> str:
        title, lesson = self.title(one.lesson), self.day.get(one.lesson, {})
        other = self.title(one.other or "")
        match one.rule:
            case Rule.WINDOW if lesson.get("not_before") == lesson.get("not_after"):
                return f"the start of {title} is fixed"
            case Rule.WINDOW:
                return (
                    f"{title} may start only from {lesson['not_before']} to "
                    f"{lesson['not_after']}"
                )
            case Rule.ARENA:
                return f"{title} may not be in that arena"
            case Rule.PERSON:
                return f"somebody of {title} is in {other} then"
            case Rule.HORSE:
                return f"a horse of {title} goes in {other}, or must rest after it"
            case _:
                weight = self.weights.get("moved_start_s", 30)
                return f"moving {title} is weighed as {weight} s"
