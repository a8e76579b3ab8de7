"""A day whose starts and arenas are settled: its least resets, exactly and quickly.

With starts and arenas given, what each arena's resets cost depends on no other
arena: which line each row stands on and where is chosen for the least sum of
seconds. That sum is a lower bound for the day, and its exact value where the
resets can then be timed within the crew's hours and the store. Where they can't,
the day may still be possible at more seconds, and the engine has to be asked.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial
from heapq import heapify, heappop, heappush
from itertools import product

from exercises.geometry.elements import Piece
from scheduling.changeover.setups import Place, pieces_of
from scheduling.dayplan.chains import CLEAR, NEVER, Chains, Shared
from scheduling.dayplan.day import Day
from scheduling.dayplan.lines import (
    LineCosts,
    Use,
    exactly,
    least_lines,
    possible_lines,
)
from scheduling.dayplan.numbers import held_pieces
from scheduling.dayplan.timing import Job, TooManyTries, Window, time_resets

Slot = tuple[int, int]
"""Where a lesson is: its start [min of the day] and its arena's number."""

Slots = Mapping[int, Slot]
"""By lesson number."""


MOST_CHOICES = 600
"""Choices of lines that are looked at before the engine is asked."""


class Known(StrEnum):
    """How much is known of a settled day."""

    EXACT = "exact"
    IMPOSSIBLE = "impossible"
    ASK = "ask"


@dataclass(frozen=True, slots=True)
class SettledReset:
    """A use of a line in a settled day, with the reset before it.

    Parameters
    ----------
    line, before, after
        The line, the lesson that last had it (None: the morning), and the lesson
        it is for.
    seconds
        What the reset takes; 0 where nothing is to be done [s].
    clears
        It clears the line.
    """

    line: int
    before: int | None
    after: int
    seconds: int
    clears: bool = False


@dataclass(frozen=True, slots=True)
class SettledDay:
    """The least resets of a settled day, and how much of that is known.

    `reset_s` is exact, or a lower bound where the engine has to be asked. `starts`
    are those of the resets in which anything is done, where all can be timed.
    """

    known: Known
    reset_s: int
    resets: tuple[SettledReset, ...] = ()
    starts: tuple[int, ...] = ()
    places: Mapping[int, tuple[int, Place]] = field(default_factory=dict)


Choice = tuple[LineCosts, ...]
"""A choice of lines in every arena."""

Uses = tuple[tuple[SettledReset, ...], dict[int, tuple[int, Place]]]
"""An arena's uses of its lines, and where each lesson's row lies."""


class Settled:
    """Settles a day again and again, and keeps what it has found.

    Parameters
    ----------
    day
        As read.
    shared
        What was found of rows and lines on other days.
    """

    def __init__(self, day: Day, shared: Shared | None = None) -> None:
        self.day = day
        self.chains = Chains(day, Shared() if shared is None else shared)
        self._arenas: dict[tuple[int, tuple[int, ...]], LineCosts | None] = {}
        self._found: dict[tuple[int, tuple[int, ...], LineCosts], Uses] = {}
        self._timings: dict[tuple[int, LineCosts, tuple[Slot, ...]], list[Job]] = {}

    def settle(self, slots: Slots) -> SettledDay:
        """Return the least resets with every lesson in its slot.

        Clashes between lessons are not looked for.
        """
        users = [self.users(slots, n) for n in range(len(self.day.arenas))]
        try:
            least = [self.arena(n, its) for n, its in enumerate(users)]
        except TooManyTries:
            return SettledDay(Known.ASK, 0)
        choice = [one for one in least if one is not None]
        if len(choice) < len(least):
            return SettledDay(Known.IMPOSSIBLE, NEVER)
        try:
            return self._settled(slots, users, choice)
        except TooManyTries:
            return SettledDay(Known.ASK, sum(one.seconds for one in choice))

    def _settled(
        self, slots: Slots, users: list[tuple[int, ...]], choice: Sequence[LineCosts]
    ) -> SettledDay:
        first = self._with(slots, users, choice)
        if first.known is not Known.IMPOSSIBLE:
            return first
        # Rows that find no time on these lines may find it on others.
        others = self._choices(slots, users)
        if others is None:
            return replace(first, known=Known.ASK)
        for one in self._cheapest_first(others):
            found = self._with(slots, users, one)
            if found.known is not Known.IMPOSSIBLE:
                return found
        return first

    def _choices(
        self, slots: Slots, users: list[tuple[int, ...]]
    ) -> list[Choice] | None:
        """Return every choice of lines that may be possible; None if too many."""
        by_arena: dict[int, list[LineCosts]] = {}
        count = 1
        # Arenas with one line first: what is impossible there needs no more looks.
        for n in sorted(range(len(users)), key=lambda n: len(self.day.arenas[n].lines)):
            lines = possible_lines(
                self.chains, n, users[n], MOST_CHOICES, partial(self._possible, slots)
            )
            if lines is None or count * len(lines) > MOST_CHOICES:
                return None
            if not lines:
                return []
            by_arena[n] = lines
            count *= len(lines)
        return list(product(*(by_arena[n] for n in range(len(users)))))

    def _cheapest_first(self, choices: list[Choice]) -> Iterator[Choice]:
        """Yield choices of lines in the order of what they cost, placed exactly."""
        heap = [
            (sum(one.seconds for one in its), n, False, its)
            for n, its in enumerate(choices)
        ]
        heapify(heap)
        while heap:
            _, n, exact, its = heappop(heap)
            if exact:
                yield its
                continue
            placed = tuple(exactly(self.chains, one) for one in its)
            total = sum(one.seconds for one in placed)
            heappush(heap, (total, n, True, placed))

    def _possible(self, slots: Slots, uses: tuple[Use, ...]) -> bool:
        """Say whether these resets can be timed with each as short as can be."""
        jobs = []
        for line, stood, user in uses:
            seconds = self.chains.least(line, stood, user)
            if seconds:
                before = None if stood == CLEAR else stood
                one = SettledReset(line, before, user, seconds)
                jobs.append(self._job(slots, one, seconds))
        return time_resets(jobs, self.day.crew) is not None

    def _with(
        self,
        slots: Slots,
        users: list[tuple[int, ...]],
        choice: Sequence[LineCosts],
    ) -> SettledDay:
        """Return the day with its rows on the lines chosen."""
        resets: list[SettledReset] = []
        places: dict[int, tuple[int, Place]] = {}
        jobs: list[Job] = []
        for n, (its, lines) in enumerate(zip(users, choice, strict=True)):
            found = self._uses(n, its, lines)
            resets += found[0]
            places |= found[1]
            jobs += self._jobs(slots, n, lines, found[0])
        total = sum(one.seconds for one in resets)
        starts = time_resets(jobs, self.day.crew)
        known = self._known(slots, resets, starts)
        return SettledDay(known, total, tuple(resets), starts or (), places)

    def users(self, slots: Slots, arena: int) -> tuple[int, ...]:
        """Return the lessons that use an arena's lines, by their start."""
        lessons = self.day.lessons
        its = sorted(
            (start, n)
            for n, (start, where) in slots.items()
            if where == arena
            and (lessons[n].grid is not None or lessons[n].needs_clear)
        )
        return tuple(n for _, n in its)

    def arena(self, arena: int, users: tuple[int, ...]) -> LineCosts | None:
        """Return an arena's least resets by itself; None if a row fits nowhere."""
        key = (arena, users)
        if key not in self._arenas:
            self._arenas[key] = least_lines(self.chains, arena, users)
        return self._arenas[key]

    def _uses(self, arena: int, users: tuple[int, ...], lines: LineCosts) -> Uses:
        """Return the uses of an arena's lines in order, and where its rows lie."""
        key = (arena, users, lines)
        if key not in self._found:
            self._found[key] = self._traced(users, lines)
        return self._found[key]

    def _traced(self, users: tuple[int, ...], least: LineCosts) -> Uses:
        resets: list[SettledReset] = []
        places: dict[int, tuple[int, Place]] = {}
        clearers = [n for n in users if self.day.lessons[n].needs_clear]
        for line, steps in least.steps:
            where, seconds = self.chains.traced(line, steps)
            before: int | None = None
            clearing = iter(clearers)
            for step, place, cost in zip(steps, where, seconds, strict=True):
                clears = step == CLEAR
                after = next(clearing) if clears else step
                if place is not None:
                    places[step] = (line, place)
                resets.append(SettledReset(line, before, after, cost, clears))
                before = after
        return tuple(resets), places

    def _known(
        self,
        slots: Slots,
        resets: list[SettledReset],
        starts: tuple[int, ...] | None,
    ) -> Known:
        """Say whether the resets can be timed as they are, or at their shortest."""
        todo = [one for one in resets if one.seconds]
        if starts is not None:
            timed = dict(zip(map(id, todo), starts, strict=True))
            return Known.EXACT if self._in_store(slots, resets, timed) else Known.ASK
        shortest = [(one, self._shortest(one)) for one in todo]
        least = [self._job(slots, one, seconds) for one, seconds in shortest if seconds]
        never = time_resets(least, self.day.crew) is None
        return Known.IMPOSSIBLE if never else Known.ASK

    def _shortest(self, one: SettledReset) -> int:
        """Least seconds of a reset by itself, wherever the rows lie."""
        stood = one.before
        if stood is not None and self.chains.row(stood) is None:
            stood = CLEAR
        return self.chains.least(one.line, stood, CLEAR if one.clears else one.after)

    def _jobs(
        self,
        slots: Slots,
        arena: int,
        lines: LineCosts,
        resets: tuple[SettledReset, ...],
    ) -> list[Job]:
        """Return the resets of an arena as jobs, kept for as long as it is the same."""
        there = ((start, n) for n, (start, where) in slots.items() if where == arena)
        key = (arena, lines, tuple(sorted(there)))
        if key not in self._timings:
            self._timings[key] = [
                self._job(slots, one, one.seconds) for one in resets if one.seconds
            ]
        return self._timings[key]

    def _job(self, slots: Slots, reset: SettledReset, seconds: int) -> Job:
        """Return a reset with the gaps of its arena in which it may lie."""
        day, arena = self.day, self.chains.lines[reset.line][0]
        begin, own = day.crew_from_min, day.lessons[reset.after]
        if reset.before is not None:
            begin = max(begin, self._over(slots, reset.before))
        late = 0 if own.needs_clear else own.warm_up_min
        end = min(day.crew_to_min, slots[reset.after][0] + late)
        windows: list[Window] = []
        ridden = sorted(
            (start, self._over(slots, n))
            for n, (start, where) in slots.items()
            if where == arena and n != reset.after
        )
        for first, over in ridden:
            if begin < first < end:
                windows.append((begin, first))
            if first < end:
                begin = max(begin, over)
        windows.append((begin, end))
        return Job(-(-seconds // 60), tuple((a, b) for a, b in windows if a < b))

    def _over(self, slots: Slots, lesson: int) -> int:
        """Return when an arena is free of a lesson for resets [min]."""
        one = self.day.lessons[lesson]
        return slots[lesson][0] + one.minutes - one.cool_down_min

    def _in_store(
        self, slots: Slots, resets: list[SettledReset], timed: Mapping[int, int]
    ) -> bool:
        """Say whether the pieces that stand are surely within what is owned."""
        if not self.day.stock:
            return True
        held: list[tuple[int, int, Counter[Piece]]] = []
        for line in range(len(self.chains.lines)):
            since, ready = 0, pieces_of(self.chains.standing(line))
            for one in (r for r in resets if r.line == line):
                row = self.chains.row(one.after)
                then = Counter() if row is None else held_pieces(row)
                begins = timed.get(id(one), since)
                ends = slots[one.after][0]
                if one.seconds:
                    ends = begins + -(-one.seconds // 60)
                held.append((since, begins, ready))
                held.append((begins, ends, ready | then))
                since, ready = ends, then
            held.append((since, 48 * 60, ready))
        return all(
            self._owned(held, at)
            for at in {begin for begin, end, _ in held if begin < end}
        )

    def _owned(self, held: list[tuple[int, int, Counter[Piece]]], at: int) -> bool:
        standing: Counter[Piece] = Counter()
        for begin, end, pieces in held:
            if begin <= at < end:
                standing += pieces
        return all(standing[piece] <= owned for piece, owned in self.day.stock.items())
