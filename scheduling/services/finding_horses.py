"""Which horses can go at a time, and which of them suit the riders best."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from scheduling.convert.lessons import Data
from scheduling.finding.best import Points
from scheduling.finding.horses import Row, assign
from scheduling.finding.points import Reason, load_points
from scheduling.finding.points import Weights as FindingWeights
from scheduling.matching.problem import Liking, Mount, Seat
from scheduling.matching.weighing import ruled_out, terms
from scheduling.services.finding_diary import Moments, Wish
from scheduling.services.joint_work import weights_of
from school.convert import house_of
from school.enums import Level, Work
from school.models import Horse, Lesson, Rider, School
from school.queries.horses import HorseDay
from school.queries.ride_logs import minutes_of
from school.queries.spans import KnownOfRiders, Span, horse_days_of
from school.services import checks
from school.services.refusals import UnableToBook
from school.services.welfare import Told, stint_of, told_of_day
from school.welfare.evaluate import Stint

ORDER = list(Level.values)


@dataclass(frozen=True, slots=True)
class _Able:
    """A horse that can go at a time: what warns of it, and its points for that."""

    warned: tuple[Told, ...]
    points: Points


class Mounts:
    """The horses for a wish, day by day and time by time.

    What is the same at any time of a day (who carries whom, how much work the horse
    has) is worked out once a day, the rest when a time is asked for.
    """

    def __init__(
        self,
        school: School,
        span: Span,
        days: Sequence[date],
        wish: Wish,
        known: KnownOfRiders,
        weights: FindingWeights,
        grid: Data | None,
    ) -> None:
        self.span, self.wish, self.known, self.weights = span, wish, known, weights
        self.house = house_of(school)
        self.matching = weights_of(self.house)
        self.unnamed = max(0, wish.places - len(wish.riders))
        self.seats = [self._seat(n, rider, grid) for n, rider in enumerate(wish.riders)]
        self._days = horse_days_of(span, days) if self.seats or self.unnamed else {}
        self._others: dict[tuple[int, date], tuple[Stint, ...]] = {}
        self._stints: dict[tuple[int, bool, int | None], Stint] = {}
        self._rows: dict[date, list[Row]] = {}
        self._able: dict[tuple[int, datetime], _Able | None] = {}
        self._least: dict[date, Points | None] = {}
        self._at_dawn: dict[tuple[int, date], _Able | None] = {}
        self._chosen: dict[datetime, tuple[Points, tuple[int, ...]] | None] = {}

    def _seat(self, number: int, rider: Rider, grid: Data | None) -> Seat:
        rode = self.known.rode.get(rider.pk, set())
        built = [*grid["start"], *grid["end"]] if grid else []
        exercise = self.wish.exercise
        level = exercise.spec.get("horse_level") if exercise else None
        return Seat(
            key=number,
            name=rider.person.first_name,
            lesson=0,
            from_s=0,
            to_s=0,
            weight_kg=rider.weight_kg,
            level=ORDER.index(rider.level),
            highest_fence_cm=rider.highest_fence_cm,
            height_cm=rider.height_cm,
            jumping=self.wish.horse_work == Work.JUMPING,
            fence_cm=max((one.get("height_cm", 0) for one in built), default=0),
            grid_level=ORDER.index(level) if level in ORDER else 0,
            confidence=self.known.confidence.get(rider.pk, 3),
            rode={h: (rider.pk, h) in self.known.too_much for h in rode},
            likes={
                one.horse_id: Liking(one.liking)
                for one in self.known.likings.get(rider.pk, [])
            },
            barred={
                one.pk: "too heavy by the school's rule"
                for one in self.span.horses
                if not checks.carries(rider, one, self.wish.horse_work, self.house)
            },
        )

    def _mount(self, horse: Horse, day: date) -> Mount:
        its = self._days[horse.pk, day]
        before = [
            one
            for one in its.around
            if self.span.day_of(one) == day - timedelta(days=1)
        ]
        return Mount(
            key=horse.pk,
            name=horse.name,
            weight_kg=horse.weight_kg,
            height_cm=horse.height_cm,
            level=ORDER.index(horse.level),
            highest_fence_cm=horse.highest_fence_cm,
            max_lessons=horse.max_lessons,
            yesterday_min=int(
                sum((x.ends_at - x.starts_at).total_seconds() for x in before) // 60
            ),
            jumped_yesterday=any(x.horse_work == Work.JUMPING for x in before),
        )

    def _table(self, day: date) -> list[Row]:
        """Return the points of each horse for each rider, whatever the time."""
        if not self.seats:
            return []
        if day not in self._rows:
            mounts = [self._mount(one, day) for one in self.span.horses]
            loads = [
                load_points(self._share(one, day), self.weights)
                for one in self.span.horses
            ]
            self._rows[day] = [
                [
                    None
                    if self._barred(seat, mount)
                    else self.weights.pair
                    * sum(t.points for t in terms(seat, mount, self.matching))
                    + load
                    for mount, load in zip(mounts, loads, strict=True)
                ]
                for seat in self.seats
            ]
        return self._rows[day]

    def _barred(self, seat: Seat, mount: Mount) -> bool:
        given = self.wish.horses[seat.key] if self.wish.horses else None
        if given is not None and given.pk != mount.key:
            return True
        return bool(ruled_out(seat, mount, self.matching))

    def _share(self, horse: Horse, day: date) -> float:
        """Return how much of what a horse may do in a day it has with the lesson."""
        lessons, minutes = self._work(horse, day)
        most = self._limits(horse)
        return max(lessons / most[0], minutes / most[1])

    def _work(self, horse: Horse, day: date) -> tuple[int, int]:
        its = self._days[horse.pk, day].lessons
        minutes = minutes_of(its, self.house.tacked_min)
        return len(its) + 1, minutes + self.wish.minutes

    def _limits(self, horse: Horse) -> tuple[int, int]:
        own = {"lessons-day": horse.max_lessons, "minutes-day": horse.max_minutes}
        most = []
        for rule, limit in own.items():
            house = self.house.of(rule).refuse
            most.append(max(1, int(min(limit, limit if house is None else house))))
        return most[0], most[1]

    def at_least(self, day: date) -> Points | None:
        """Return points the horses speak against a day at least."""
        if day not in self._least:
            found = self._assigned(day, lambda one: self._some_time(one, day))
            self._least[day] = None if found is None else found[0]
        return self._least[day]

    def _assigned(
        self, day: date, ask: Callable[[Horse], _Able | None]
    ) -> tuple[Points, tuple[int, ...]] | None:
        """Assign the horses, asking only those that come into question.

        What is not asked yet counts as little as it can; once all that are chosen
        have been asked, nothing better is left.
        """
        rows = [list(row) for row in self._table(day)]
        asked: set[int] = set()
        while True:
            chosen = assign(rows)
            if chosen is None:
                return None
            new = set(chosen) - asked
            if not new:
                total = sum(row[n] or 0 for row, n in zip(rows, chosen, strict=True))
                return total, chosen
            asked |= new
            for n in new:
                able = ask(self.span.horses[n])
                for row in rows:
                    points = row[n]
                    if points is not None:
                        row[n] = None if able is None else points + able.points

    def _some_time(self, horse: Horse, day: date) -> _Able | None:
        """Return what speaks against a horse at any time of a day.

        It is asked of before dawn: by then it has had its rest, and has no wait to
        stand tacked up, so whatever is broken then is broken at any time.
        """
        key = (horse.pk, day)
        if key not in self._at_dawn:
            begins = datetime.combine(day, time(), tzinfo=self.span.zone)
            times = (begins, begins + timedelta(minutes=self.wish.minutes))
            told = self._told(self._days[key], times)
            refused = horse.bookable_from_date > day
            self._at_dawn[key] = None if refused else self._able_by(told)
        return self._at_dawn[key]

    def able(self, horse: Horse, moments: Moments) -> _Able | None:
        """Return whether a horse can go at a time, whoever rides it."""
        key = (horse.pk, moments[0])
        if key not in self._able:
            self._able[key] = self._judged(horse, moments)
        return self._able[key]

    def _judged(self, horse: Horse, moments: Moments) -> _Able | None:
        begins, ends = moments
        if self._some_time(horse, begins.date()) is None:
            return None
        states = [
            one
            for one in self.span.states.get(horse.pk, [])
            if one.state_from < ends and (one.state_to is None or one.state_to > begins)
        ]
        its = replace(self._days[horse.pk, begins.date()], states=states)
        try:
            checks.check_horse_day(its, begins, ends, self.span.zone)
        except UnableToBook:
            return None
        return self._able_by(self._told(its, moments))

    def _told(self, its: HorseDay, moments: Moments) -> list[Told]:
        key = (its.horse.pk, moments[0].date())
        if key not in self._others:
            self._others[key] = tuple(self._stint(its, one) for one in its.around)
        return told_of_day(
            its,
            *moments,
            self.span.zone,
            self.house,
            work=self.wish.horse_work,
            others=self._others[key],
        )

    def _stint(self, its: HorseDay, lesson: Lesson) -> Stint:
        """Return a lesson as the rules count it, worked out once for all horses."""
        grid, logged = its.grids.get(lesson.pk), its.logged.get(lesson.pk)
        key = (lesson.pk, grid is None, logged)
        if key not in self._stints:
            self._stints[key] = stint_of(lesson, self.span.zone, grid, logged)
        return self._stints[key]

    def _able_by(self, told: Sequence[Told]) -> _Able | None:
        if any(one.hit.refuses for one in told):
            return None
        return _Able(tuple(told), self.weights.horse_warned * len(told))

    def points(self, moments: Moments) -> Points | None:
        """Return the fewest points of horses at a time; None where some lack one."""
        found = self._choose(moments)
        return None if found is None else found[0]

    def _choose(self, moments: Moments) -> tuple[Points, tuple[int, ...]] | None:
        if moments[0] not in self._chosen:
            self._chosen[moments[0]] = self._best(moments)
        return self._chosen[moments[0]]

    def _best(self, moments: Moments) -> tuple[Points, tuple[int, ...]] | None:
        day = moments[0].date()
        found = self._assigned(day, lambda one: self.able(one, moments))
        return found if found and self._enough(moments, len(found[1])) else None

    def _enough(self, moments: Moments, named: int) -> bool:
        """Say whether the places that nobody is named for find horses too."""
        if not self.unnamed:
            return True
        left = named + self.unnamed
        for one in self.span.horses:
            left -= self.able(one, moments) is not None
            if left == 0:
                return True
        return False

    def chosen(
        self, moments: Moments
    ) -> tuple[list[tuple[Rider, Horse]], list[Reason]]:
        """Return each rider's horse at a time that was judged, and what was said."""
        found = self._choose(moments)
        if found is None:
            return [], []
        day = moments[0].date()
        rides, said = [], []
        for seat, rider, n in zip(self.seats, self.wish.riders, found[1], strict=True):
            horse = self.span.horses[n]
            able = self.able(horse, moments)
            points = self._table(day)[seat.key][n] or 0
            rides.append((rider, horse))
            lessons, minutes = self._work(horse, day)
            most_lessons, most_minutes = self._limits(horse)
            pair = terms(seat, self._mount(horse, day), self.matching)
            warned = [] if able is None else [one.says for one in able.warned]
            says = (
                f"{rider.person.first_name} on {horse.name}, which then has {lessons} "
                f"of {most_lessons} lessons and {minutes} of {most_minutes} min; "
                + ", ".join(one.says for one in pair if one.name != "change")
            )
            said.append(Reason("horse", points, says))
            said += [Reason("warned", self.weights.horse_warned, x) for x in warned]
        if self.unnamed:
            says = f"horses are free for {self.unnamed} places without a name"
            said.append(Reason("horse", 0, says))
        return rides, said
