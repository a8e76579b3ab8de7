"""What the fences take, for a lesson that might be booked on one of many days."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from scheduling.convert.days import day_document
from scheduling.convert.lessons import Data, new_lesson
from scheduling.dayplan.chains import Shared
from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.margins import Margins, alike
from scheduling.dayplan.settled import Known
from scheduling.finding.best import Points
from scheduling.finding.points import Reason, Weights, reset_points, reset_words
from scheduling.queries.days import DayRows
from scheduling.services.finding_diary import Wish
from school.models import Arena, Lesson
from school.queries.spans import Span


class Fences:
    """Asks the planner of a day only when a time of it may be among the best.

    Parameters
    ----------
    rows
        Of each day, without its lessons.
    span
        What is booked.
    grid
        What the lesson rides, in the day file's form.
    """

    def __init__(
        self,
        rows: Mapping[date, DayRows],
        span: Span,
        wish: Wish,
        grid: Data | None,
        weights: Weights,
    ) -> None:
        self.rows, self.wish, self.grid, self.weights = rows, wish, grid, weights
        self._lessons: dict[date, list[Lesson]] = {}
        for lesson in span.lessons:
            self._lessons.setdefault(span.day_of(lesson), []).append(lesson)
        self._margins: dict[date, Margins | None] = {}
        self._alike: dict[str, Margins | None] = {}
        self._shared = Shared()
        self._added: dict[tuple[date, int, int], tuple[Known, int]] = {}

    def _of(self, day: date) -> Margins | None:
        """Return a day's margins; None where its day file is refused."""
        if day not in self._margins:
            rows = replace(self.rows[day], lessons=self._lessons.get(day, []))
            lesson = new_lesson(
                rows, minutes=self.wish.minutes, people=[], horses=[], grid=self.grid
            )
            document = day_document(rows)
            key = alike(document, lesson)
            if key not in self._alike:
                self._alike[key] = self._reckoned(document, lesson)
            self._margins[day] = self._alike[key]
        return self._margins[day]

    def _reckoned(self, document: Data, lesson: Data) -> Margins | None:
        try:
            return Margins(document, lesson, self._shared)
        except InvalidDay:
            return None

    def at_least(self, day: date, start_min: int, arena: Arena) -> Points | None:
        """Return points that the fences speak against a time at least.

        Without a grid nothing can be saved: what is planned with the lesson is a plan
        without it too.
        """
        if self.grid is None:
            return 0
        margins = self._of(day)
        if margins is None or not margins.reckoned:
            return self.weights.unknown
        least = margins.at_least(start_min, f"arena-{arena.pk}")
        return None if least is None else reset_points(least, self.weights)

    def points(self, day: date, start_min: int, arena: Arena) -> Points | None:
        """Return what the fences speak against a time; None where they find no time."""
        known, added_s = self._asked(day, start_min, arena)
        if known is Known.IMPOSSIBLE:
            return None
        points = reset_points(added_s, self.weights)
        return points if known is Known.EXACT else points + self.weights.unknown

    def _asked(self, day: date, start_min: int, arena: Arena) -> tuple[Known, int]:
        key = (day, start_min, arena.pk)
        if key not in self._added:
            margins = self._of(day)
            self._added[key] = (
                (Known.ASK, 0)
                if margins is None or not margins.reckoned
                else margins.added(start_min, f"arena-{arena.pk}")
            )
        return self._added[key]

    def reason(
        self, day: date, start_min: int, arena: Arena
    ) -> tuple[Reason, int | None]:
        """Say what a lesson adds there, with the seconds where they are exact."""
        known, added_s = self._asked(day, start_min, arena)
        points = reset_points(added_s, self.weights)
        if known is Known.EXACT:
            return Reason("fences", points, reset_words(added_s)), added_s
        margins = self._of(day)
        says = "what it adds to the changing of fences only a plan of the day can tell"
        if margins is None or not margins.reckoned:
            says = (
                "the day as it is booked leaves the fences no time, or may; order it "
                "first, then what this adds can be said"
            )
        return Reason("fences", points, says), None
