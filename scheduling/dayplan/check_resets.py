"""The judge of the resets: what stands when, who does it, and with what pieces."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from exercises.geometry.elements import Element
from scheduling.dayplan.check_rules import Broken, Held, at_minutes, plain, stood
from scheduling.dayplan.cost import Times, cheapest_seconds, count_pieces
from scheduling.dayplan.day import Day, clock

Line = tuple[str, str]
Setup = list[dict[str, Any]]


def check_resets(
    day: Day, held: list[Held], resets: list[dict[str, Any]]
) -> list[Broken]:
    """Return every rule about resets that a plan breaks."""
    walk = _Walk(day, held, resets)
    return [
        *_timing(day, held, resets),
        *walk.broken,
        *_crew(day, resets),
        *_stock(day, walk.holdings),
    ]


def handling_times(day: Day) -> Times:
    """Return the school's times with the judge's own keys."""
    handling = day.handling
    return Times(
        piece={
            piece.value: {
                "fetch": t.fetch_us,
                "return": t.return_us,
                "lift": t.lift_us,
                "per_cm": t.per_cm_us,
            }
            for piece, t in handling.pieces.items()
        },
        act={
            "measure": handling.measure_us,
            "cup_height": handling.cup_height_us,
            "turn": handling.turn_us,
            "start": handling.start_us,
        },
    )


class _Walk:
    """Walks each line through the day, from what stands in the morning."""

    def __init__(
        self, day: Day, held: list[Held], resets: list[dict[str, Any]]
    ) -> None:
        self.times = handling_times(day)
        self.broken: list[Broken] = []
        self.holdings: list[tuple[int, int, Counter[str]]] = []
        self.day = day
        self.held = held
        for arena in day.arenas:
            for line in arena.lines:
                key = (arena.id, line.id)
                setup = [
                    plain(p.element, p.at_cm, p.faces.value) for p in line.standing
                ]
                its = [r for r in resets if (r["arena"], r["line"]) == key]
                self._line(key, setup, its)

    def _line(self, key: Line, setup: Setup, resets: list[dict[str, Any]]) -> None:
        """Walk one line: resets and lessons in the order of time."""
        events: list[tuple[int, int, Any]] = []
        events += [(at_minutes(reset["to"]), 0, reset) for reset in resets]
        for one in self.held:
            if one.line == key:
                # A row may be finished in the warm-up, not later.
                events.append((one.start + one.lesson.warm_up_min, 1, one))
            elif one.lesson.needs_clear and one.arena == key[0]:
                events.append((one.start, 1, one))
        events.sort(key=lambda event: event[:2])
        since, last, ready = 0, None, _total(setup)
        for _, _, event in events:
            if isinstance(event, Held):
                wanted = self._wanted(event, key)
                if not _same(setup, wanted):
                    self._stands_wrong(event, key)
                    setup = wanted
                if event.line == key and event.lesson.grid is not None:
                    setup = _stood(event, event.lesson.grid.end)
                    last, ready = event.lesson.id, _held(event)
                continue
            target = self._target(event, key)
            begins, ends = at_minutes(event["from"]), at_minutes(event["to"])
            self.holdings.append((since, begins, ready))
            self._reset(event, setup, target, last)
            during = ready | self._held_by(event, key)
            self.holdings.append((begins, ends, during))
            since, ready, setup = ends, self._held_by(event, key), target
        self.holdings.append((since, 48 * 60, ready))

    def _for(self, reset: dict[str, Any]) -> Held | None:
        return next((h for h in self.held if h.lesson.id == reset["for"]), None)

    def _target(self, reset: dict[str, Any], key: Line) -> Setup:
        """Return what a reset builds; a strip for another line builds nothing."""
        one = self._for(reset)
        stripped = all(move["do"] == "strip" for move in reset["moves"])
        if one is None or one.line != key or stripped:
            return []
        return self._wanted(one, key)

    def _held_by(self, reset: dict[str, Any], key: Line) -> Counter[str]:
        one = self._for(reset)
        target = self._target(reset, key)
        return _held(one) if one is not None and target else Counter()

    def _wanted(self, one: Held, key: Line) -> Setup:
        grid = one.lesson.grid
        return [] if grid is None or one.line != key else _stood(one, grid.start)

    def _stands_wrong(self, one: Held, key: Line) -> None:
        rule, says = "row stands", "does not find its row built"
        if one.lesson.needs_clear:
            rule, says = "clear arena", "needs a clear arena and does not find one"
        self.broken.append(
            Broken(
                rule,
                (one.lesson.id,),
                f"{one.lesson.id} {says} on line {key[1]} of {key[0]} "
                f"at {clock(one.start)}.",
            )
        )

    def _reset(
        self, reset: dict[str, Any], setup: Setup, target: Setup, last: str | None
    ) -> None:
        who = (str(reset["for"]),)
        seconds = cheapest_seconds(setup, target, self.times)
        if reset["seconds"] != seconds:
            self.broken.append(
                Broken(
                    "cheapest",
                    who,
                    f"The reset for {who[0]} takes {seconds} s at the least, "
                    f"not {reset['seconds']}.",
                )
            )
        minutes = -(-reset["seconds"] // 60)
        if at_minutes(reset["to"]) - at_minutes(reset["from"]) != minutes:
            self.broken.append(
                Broken("length", who, f"The reset for {who[0]} needs {minutes} min.")
            )
        if reset["after"] != last:
            self.broken.append(
                Broken("after", who, f"The reset for {who[0]} follows {last}.")
            )
        was = [move["was"] for move in reset["moves"] if move["was"]]
        now = [move["now"] for move in reset["moves"] if move["now"]]
        if not _same(map(_filled, was), setup) or not _same(map(_filled, now), target):
            self.broken.append(
                Broken(
                    "moves",
                    who,
                    f"The moves for {who[0]} do not lead from what stands to the row.",
                )
            )
        cost = sum(move["seconds"] for move in reset["moves"])
        if cost:
            cost += self.times.act["start"] / 1_000_000
        # Each move is written to hundredths of a second.
        if abs(cost - reset["seconds"]) > 1 + 0.005 * len(reset["moves"]):
            self.broken.append(
                Broken("moves", who, f"The moves for {who[0]} do not sum to its time.")
            )


def _filled(element: dict[str, Any]) -> dict[str, Any]:
    defaults: dict[str, Any] = {
        "height_cm": 0,
        "spread_cm": 0,
        "rails": None,
        "ground_line": "none",
        "guides": False,
        "ascending": False,
        "faces": "up",
    }
    return defaults | element


def _same(one: Any, other: Any) -> bool:
    """Say whether two setups stand alike; the side only counts where it shows."""
    return sorted(map(_shape, one)) == sorted(map(_shape, other))


def _shape(e: dict[str, Any]) -> str:
    sided = e["ascending"] or e["guides"] or e["ground_line"] == "take-off"
    shown = {key: value for key, value in e.items() if key not in {"faces", "rails"}}
    shown["pieces"] = sorted(count_pieces(e).items())
    shown["faces"] = e["faces"] if sided else ""
    return repr(sorted(shown.items()))


def _total(setup: Setup) -> Counter[str]:
    total: Counter[str] = Counter()
    for one in setup:
        total += count_pieces(one)
    return total


def _held(one: Held) -> Counter[str]:
    """Pieces of a row's start and end, which must be at hand from its reset on."""
    grid = one.lesson.grid
    start = _total([plain(e, e.at_cm, "up") for e in grid.start] if grid else [])
    return start | _total([plain(e, e.at_cm, "up") for e in grid.end] if grid else [])


def _stood(one: Held, elements: tuple[Element, ...]) -> Setup:
    """Place elements of a lesson's row as planned."""
    grid = one.lesson.grid
    length = max(e.landing_cm for e in grid.start) if grid else 0
    return stood(elements, length, one.row["offset_cm"], one.row["mirrored"])


def _timing(
    day: Day, held: list[Held], resets: list[dict[str, Any]]
) -> Iterator[Broken]:
    for reset in resets:
        who = (str(reset["for"]),)
        begins, ends = at_minutes(reset["from"]), at_minutes(reset["to"])
        if begins < day.crew_from_min or ends > day.crew_to_min:
            yield Broken(
                "crew's hours",
                who,
                f"The reset for {who[0]} from {reset['from']} to {reset['to']} lies "
                f"outside the crew's hours.",
            )
        for one in held:
            if one.arena != reset["arena"]:
                continue
            own = one.lesson.id == reset["for"] and one.line is not None
            from_start = one.start + (one.lesson.warm_up_min if own else 0)
            until = one.end - one.lesson.cool_down_min
            if begins < until and ends > from_start:
                yield Broken(
                    "arena ridden",
                    (who[0], one.lesson.id),
                    f"The reset for {who[0]} from {reset['from']} to {reset['to']} "
                    f"lies in {one.lesson.id}, which has {one.arena}.",
                )


def _crew(day: Day, resets: list[dict[str, Any]]) -> Iterator[Broken]:
    for reset in resets:
        at = at_minutes(reset["from"])
        running = [
            one
            for one in resets
            if at_minutes(one["from"]) <= at < at_minutes(one["to"])
        ]
        if len(running) > day.crew:
            yield Broken(
                "crew",
                tuple(str(one["for"]) for one in running),
                f"{len(running)} resets run at {clock(at)}, {day.crew} can be done.",
            )


def _stock(day: Day, holdings: list[tuple[int, int, Counter[str]]]) -> Iterator[Broken]:
    said: set[str] = set()
    for at in sorted({begins for begins, _, _ in holdings}):
        standing: Counter[str] = Counter()
        for begins, ends, count in holdings:
            if begins <= at < ends:
                standing += count
        for piece, owned in day.stock.items():
            if standing[piece] > owned and piece.value not in said:
                said.add(piece.value)
                yield Broken(
                    "stock",
                    (),
                    f"At {clock(at)} {standing[piece]} {piece}s stand, and the store "
                    f"has {owned}.",
                )
