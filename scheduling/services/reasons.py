"""Why a changeover costs what it does, in words."""

from scheduling.dayplan.day import clock
from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.reasons import Instead, Obstacle, Reason, Rule, reason_for
from scheduling.models import Changeover, DayPlan
from scheduling.queries import key_of
from school.models import Arena, Lesson


def reason_of(changeover: Changeover) -> list[str]:
    """Return sentences: what it costs, what else would, and what is in the way."""
    plan, name = changeover.plan, f"lesson-{changeover.lesson_id}"
    row = next((x for x in plan.plan.get("lessons", []) if x["id"] == name), None)
    if row is None or row["line"] is None:
        return ["The line is cleared: what stands is taken to the store."]
    try:
        reason = reason_for(plan.document, plan.plan, name)
    except (InvalidDay, KeyError, StopIteration):
        # A plan of another day's settings: its cost is known, its reasons are not.
        return ["The plan is too old to say more."]
    return _Words(plan, changeover).sentences(reason)


WORTH_SAYING_S = 60
"""What saves less than this is not worth a sentence."""


def _minutes(seconds: int) -> str:
    return f"{-(-seconds // 60)} min"


class _Words:
    def __init__(self, plan: DayPlan, changeover: Changeover) -> None:
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
        self.own = changeover.lesson.title

    def title(self, name: str) -> str:
        if not name.startswith("lesson-"):
            return "a closed arena"
        return self.titles.get(key_of(name), "a lesson that is gone")

    def sentences(self, reason: Reason) -> list[str]:
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
            lines += self.instead(reason.instead)
        return lines

    def instead(self, one: Instead) -> list[str]:
        arena = self.arenas.get(key_of(one.arena), "another arena")
        where = f"at {clock(one.start_min)} in {arena}"
        what = f"With {self.own} {where}"
        if one.swapped is not None:
            what = (
                f"With {self.own} {where}, in exchange with {self.title(one.swapped)},"
            )
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
