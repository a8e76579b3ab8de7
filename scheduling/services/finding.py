"""The best times for a lesson over the next weeks; nothing is written.

What a booking would refuse is offered nowhere: arenas, light, closures, people and
their hours and papers, horses and their limits. What is read is read once for all
days; what the fences take is asked of the planner only for times that may be among
the best, and then exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

from exercises.convert import spec_of
from exercises.geometry.data import element_as_data
from exercises.geometry.elements import Element
from exercises.geometry.fit import Fit
from exercises.geometry.fitting import UnableToFit, fit_row
from exercises.geometry.store import store_verdicts
from exercises.geometry.strides import Tradition
from scheduling.convert.lessons import Data
from scheduling.finding.best import Choice, Points, Time, best_times
from scheduling.finding.points import Reason, Weights
from scheduling.queries.days import rows_of_days
from scheduling.services.finding_diary import Diary, Wish
from scheduling.services.finding_fences import Fences
from scheduling.services.finding_horses import Mounts
from school.convert import horse_size, store_of
from school.models import Arena, Horse, Instructor, Rider, School
from school.queries.holidays import holidays_of
from school.queries.schools import the_school
from school.queries.spans import Span, known_of_riders, read_span
from school.queries.store import store_by_place

MOST_WEEKS = 8


class UnableToFind(ValueError):
    """Why no time can be looked for, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


@dataclass(frozen=True, slots=True)
class Answer:
    """A time that is free, with who goes on whom, and what speaks for and against.

    `added_s` is exact, or None where the planner would have to be asked. `at_hand`
    says which pieces of the grid the arena has not of its own.
    """

    starts_at: datetime
    ends_at: datetime
    arena: Arena
    instructor: Instructor
    rides: tuple[tuple[Rider, Horse], ...]
    added_s: int | None
    reasons: tuple[Reason, ...]
    points: Points
    at_hand: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """The best times, the best first, and what was left out or taken as given.

    `judged` counts the times looked at from the diary, with horses, with fences.
    """

    answers: tuple[Answer, ...]
    notes: tuple[str, ...]
    judged: tuple[int, ...]


def find_times(
    *,
    wish: Wish,
    now: datetime,
    choice: Choice | None = None,
    weights: Weights | None = None,
) -> Found:
    """Return the best free times for a wish.

    On few days more of each day are shown, unless a `choice` is named.

    Raises
    ------
    UnableToFind
        Where nothing can be looked for, as for a grid that fits no horse.
    """
    weights = weights or Weights()
    school = the_school()
    days, notes = days_of(school, wish)
    if not days:
        return Found((), tuple(notes), (0, 0, 0))
    search = Search(school, wish, days, now, weights)
    if choice is None:
        choice = Choice(a_day=max(Choice.a_day, -(-Choice.most // len(days))))
    found = best_times(search.diary.times(), search.stages(), choice)
    answers = tuple(search.answer(one, points) for one, points in found.best)
    return Found(answers, (*notes, *search.notes), found.judged)


def days_of(school: School, wish: Wish) -> tuple[list[date], list[str]]:
    last = wish.first_date + timedelta(days=7 * min(wish.weeks, MOST_WEEKS) - 1)
    days = [
        wish.first_date + timedelta(days=n)
        for n in range((last - wish.first_date).days + 1)
    ]
    days = [one for one in days if not wish.weekdays or one.weekday() in wish.weekdays]
    if not wish.skip_holidays:
        return days, []
    closed = holidays_of(school, wish.first_date, last)
    left_out = [
        f"{one:%A} {one.day} {one:%B} is left out: {closed[one]}."
        for one in days
        if one in closed
    ]
    return [one for one in days if one not in closed], left_out


class Search:
    """One wish over its days: the stages a time goes through, and the answer."""

    def __init__(
        self,
        school: School,
        wish: Wish,
        days: list[date],
        now: datetime,
        weights: Weights,
    ) -> None:
        rows = rows_of_days(days, [])
        zone = rows[days[0]].zone
        span = read_span(days[0], days[-1], zone)
        self.wish = wish
        grid, self.fitted_to, self.stages_built = _grid(school, span, wish)
        built = [*grid["start"], *grid["end"]] if grid else []
        fence_cm = max((one.get("height_cm", 0) for one in built), default=0)
        self.diary = Diary(school, span, rows, wish, now, weights, fence_cm)
        self.kept = store_by_place() if grid else []
        known = known_of_riders(wish.riders, now.astimezone(zone).date())
        self.mounts = Mounts(school, span, days, wish, known, weights, grid)
        self.fences = Fences(rows, span, wish, grid, weights)

    @property
    def notes(self) -> list[str]:
        """What was left out or taken as given, in words."""
        said = [*self.diary.notes]
        if self.fitted_to:
            said.append(
                f"Minutes of changing fences are for the grid as it fits "
                f"{self.fitted_to}; other horses' distances may change them a little."
            )
        return said

    def stages(self) -> list[partial[Points | None]]:
        """Return what is asked of a time, each stage sharper than the one before."""
        return [partial(self.judge, stage) for stage in range(3)]

    def judge(self, stage: int, one: Time) -> Points | None:
        """Return the points of a time, or at least so many before the last stage."""
        diary = self.diary.points(one)
        day = self.diary.days[one.day]
        horses = (
            self.mounts.at_least(day)
            if stage == 0
            else self.mounts.points(self.diary.moments(one))
        )
        if horses is None:
            return None
        where = self.diary.arenas[one.arena]
        fences = (
            self.fences.points(day, one.start_min, where)
            if stage == 2
            else self.fences.at_least(day, one.start_min, where)
        )
        return None if fences is None else diary + horses + fences

    def answer(self, one: Time, points: Points) -> Answer:
        """Put a time that was judged to the end into words."""
        day, where = self.diary.days[one.day], self.diary.arenas[one.arena]
        starts_at, ends_at = self.diary.moments(one)
        teacher = self.diary.teacher_of(one)
        fences, added_s = self.fences.reason(day, one.start_min, where)
        rides, horses = self.mounts.chosen(self.diary.moments(one))
        return Answer(
            starts_at=starts_at,
            ends_at=ends_at,
            arena=where,
            instructor=teacher,
            rides=tuple(rides),
            added_s=added_s,
            reasons=(fences, *horses, *self.diary.reasons(one)),
            at_hand=self._at_hand(where),
            points=points,
        )

    def _at_hand(self, arena: Arena) -> tuple[str, ...]:
        """Say which pieces of the grid an arena has not of its own."""
        found = store_verdicts(self.stages_built, store_of(self.kept, arena))
        return tuple(one.says for one in found if one.fit is not Fit.FITS)


def _grid(
    school: School, span: Span, wish: Wish
) -> tuple[Data | None, str, list[tuple[Element, ...]]]:
    """Return the grid as it would be fitted, in the day file's form, to whom, and what
    stands at each stage."""
    if wish.exercise is None:
        return None, "", []
    horses = [one for one in wish.horses if one is not None]
    fitted_to = ""
    if not horses:
        horses = _middling(span.horses)
        fitted_to = ", ".join(one.name for one in horses)
    spec = spec_of(wish.exercise)
    use = Tradition(school.tradition)
    try:
        row = fit_row(spec, [horse_size(one) for one in horses], use)
    except UnableToFit as error:
        raise UnableToFind(f"The grid can't be fitted: {error}.") from error
    return (
        {
            "start": [element_as_data(one) for one in row.start],
            "end": [element_as_data(one) for one in row.end],
            "approach_cm": spec.approach_cm,
            "runout_cm": spec.runout_cm,
            "may_mirror": True,
        },
        fitted_to,
        [one.elements for one in row.stages],
    )


def _middling(horses: Sequence[Horse]) -> list[Horse]:
    """Return the horse in the middle by height; whoever rides it stands for all."""
    by_height = sorted(horses, key=lambda one: (one.height_cm, one.pk))
    return by_height[len(by_height) // 2 : len(by_height) // 2 + 1]
