"""Holds what is asked of a horse against the rules: numbers in, hits out."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from school.welfare.rules import JUMPS_HIGH_CM, RULE, RULES, House

QUARTERS = 4
"""Quarters in one effort."""

WEEK = 7

REST_MIN = 30
"""What parts two lessons where the school sets no rest."""

HORSES_OWN = "the horse's own limit"
SCHOOLS_OWN = "the school's own"


@dataclass(frozen=True, slots=True)
class Stint:
    """A horse's lesson: minutes from any fixed moment, its local day as a number."""

    start: int
    end: int
    day: int
    jumping: bool = False
    quarter_efforts: int = 0
    highest_cm: int = 0


@dataclass(frozen=True, slots=True)
class OwnLimits:
    """What a horse itself is limited to, whatever the school's rules allow."""

    rest_min: int = 0
    lessons: int | None = None
    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a horse, and what it does around that time.

    Weights in kg, ages in years, the heat as degrees Fahrenheit plus humidity; what
    is not known is None and not judged.
    """

    stint: Stint
    others: Sequence[Stint] = ()
    own: OwnLimits = OwnLimits()
    horse_kg: int | None = None
    rider_kg: int | None = None
    years: int | None = None
    day_off: bool = False
    heat: int | None = None


@dataclass(frozen=True, slots=True)
class Hit:
    """A rule that is broken: by what figure, against what limit, who says so."""

    rule: str
    figure: float
    limit: float
    refuses: bool
    source: str


def work_minutes(stints: Iterable[Stint], tacked_min: int) -> int:
    """Return the minutes of work of a day, with short waits between lessons.

    A horse that waits tacked up between two lessons works on; a longer gap is rest.
    """
    total, last = 0, None
    for one in sorted(stints, key=lambda stint: (stint.start, stint.end)):
        total += one.end - one.start
        if last is not None and 0 < one.start - last <= tacked_min:
            total += one.start - last
        last = one.end
    return total


def hits(asked: Asked, house: House) -> tuple[Hit, ...]:
    """Return every rule that what is asked would break, refusals first.

    A horse's own limit counts where it is the stricter one; each hit names the
    stricter of warning and refusal.
    """
    found = []
    for name, figure in figures(asked, house):
        rule, bounds = RULE[name], house.of(name)
        refuse, own = bounds.refuse, _own(asked, name)
        stricter = own is not None and (refuse is None or rule.broken(refuse, own))
        if stricter:
            refuse = own
        if refuse is not None and rule.broken(figure, refuse):
            source = HORSES_OWN if stricter else _source(name, house)
            found.append(Hit(name, figure, refuse, True, source))
        elif bounds.warn is not None and rule.broken(figure, bounds.warn):
            found.append(Hit(name, figure, bounds.warn, False, _source(name, house)))
    return tuple(sorted(found, key=lambda one: (not one.refuses, _ORDER[one.rule])))


_ORDER = {rule.name: at for at, rule in enumerate(RULES)}


def _source(name: str, house: House) -> str:
    """Return where a figure comes from, or that the school set it."""
    rule = RULE[name]
    if house.of(name) != rule.usual:
        return SCHOOLS_OWN
    return rule.grade if rule.grade == SCHOOLS_OWN else rule.says_who


def _own(asked: Asked, name: str) -> int | None:
    if name == "lessons-day":
        return asked.own.lessons
    if name == "minutes-day":
        return asked.own.minutes
    return asked.own.rest_min if name == "rest" else None


def weight_share(load_kg: int, horse_kg: int) -> float:
    """Return a load as a share of a horse's weight, in percent, rounded up to a tenth.

    Up, so that what is shown as just at a limit is not over it.
    """
    return -(-1000 * load_kg // horse_kg) / 10


def heat_sum(temperature_c: int, humidity_pct: int) -> int:
    """Return degrees Fahrenheit and per cent of humidity added up, rounded up.

    Up, so that what is shown as just at a limit is not over it.
    """
    return -(-18 * temperature_c // 10) + 32 + humidity_pct


def figures(asked: Asked, house: House) -> Iterator[tuple[str, float]]:
    """Yield each rule that can be judged, with the figure that would come about."""
    stint = asked.stint
    every = [stint, *asked.others]
    by_day: dict[int, list[Stint]] = {}
    for one in every:
        by_day.setdefault(one.day, []).append(one)
    today = by_day[stint.day]
    if asked.rider_kg is not None and asked.horse_kg:
        share = weight_share(asked.rider_kg + house.gear_kg, asked.horse_kg)
        yield "weight-jumping" if stint.jumping else "weight", share
    yield "lessons-day", len(today)
    yield "minutes-day", work_minutes(today, house.tacked_min)
    minutes = {day: work_minutes(its, house.tacked_min) for day, its in by_day.items()}
    yield "minutes-week", _most_in_a_week(minutes, stint.day)
    gaps = [max(stint.start - one.end, one.start - stint.end) for one in asked.others]
    if gaps:
        yield "rest", min(gaps)
    rest = house.of("rest").warn
    yield "in-a-row", _in_a_row(every, stint, REST_MIN if rest is None else rest)
    yield "days-in-a-row", _running(set(by_day), stint.day)
    if asked.day_off:
        yield "day-off", 1
    if asked.heat is not None:
        yield "heat", asked.heat
    if stint.jumping:
        yield from _jumping(asked, every, today)


def _jumping(
    asked: Asked, every: Sequence[Stint], today: Sequence[Stint]
) -> Iterator[tuple[str, float]]:
    day = asked.stint.day
    jumped = {one.day: 1 for one in every if one.jumping}
    yield "jumping-day", sum(one.jumping for one in today)
    yield "jumping-week", _most_in_a_week(jumped, day)
    yield "jumping-running", _running(set(jumped), day)
    efforts = sum(one.quarter_efforts for one in today) / QUARTERS
    high = max(one.highest_cm for one in today) > JUMPS_HIGH_CM
    yield "efforts-high" if high else "efforts", efforts
    if asked.years is not None:
        yield "young-jumping", asked.years
        yield "old-jumping", asked.years


def _most_in_a_week(of_day: dict[int, int], day: int) -> int:
    """Return the most of any seven days running that hold a day."""
    counted = Counter(of_day)
    return max(
        sum(counted[one] for one in range(first, first + WEEK))
        for first in range(day - WEEK + 1, day + 1)
    )


def _running(days: set[int], day: int) -> int:
    """Return how many days in a row there are, around a day."""
    first = last = day
    while first - 1 in days:
        first -= 1
    while last + 1 in days:
        last += 1
    return last - first + 1


def _in_a_row(every: Sequence[Stint], stint: Stint, rest: float) -> int:
    """Return how many lessons follow each other without a rest, around one."""
    row: list[Stint] = []
    for one in sorted(every, key=lambda each: (each.start, each.end)):
        if row and one.start - row[-1].end >= rest:
            if stint in row:
                break
            row = []
        row.append(one)
    return len(row)
