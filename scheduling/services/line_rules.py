"""How often and how far a line moves sideways, and where it lies by hand."""

from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import transaction

from scheduling.changeover.sideways import FENCE_WIDE_CM, LEAST_STEP_CM
from scheduling.services.sideways import lay_out_moves, open_move
from school.models import Account, Line, SidewaysRule
from school.services.audit import record
from school.services.yard import call_off

MOST_DAYS, MOST_USES, MOST_STEP_CM = 90, 200, 1000

USUAL_DAYS = 7
"""Each week, by 2 to 3 m (handbook, practice 4: grade b, no published source)."""
USUAL_STEP_CM = 250
TRACK_CM = 200
"""Left free along the sides (handbook, practice 7: grade b)."""
USUAL_SIDE_CM = FENCE_WIDE_CM // 2 + TRACK_CM


class UnableToMoveLine(ValueError):
    """A rule or place that is refused: plain words, and the field."""

    def __init__(self, says: str, field: str) -> None:
        super().__init__(says)
        self.says = says
        self.field = field


@dataclass(frozen=True, slots=True)
class Sideways:
    """How often a line moves, by how much, and between which places [cm].

    `least_cm` and `most_cm` are distances of the line from the long side.
    """

    every_days: int | None
    every_uses: int | None
    step_cm: int
    least_cm: int
    most_cm: int


def usual_rule(line: Line) -> Sideways:
    """Return what a form begins with: all the width but the track."""
    most = max(USUAL_SIDE_CM, line.arena.width_cm - USUAL_SIDE_CM)
    return Sideways(USUAL_DAYS, None, USUAL_STEP_CM, USUAL_SIDE_CM, most)


def set_sideways(
    *, line: Line, how: Sideways, by: Account | None, now: datetime
) -> SidewaysRule:
    """Have a line moved from now on; the same twice is set once.

    What was counted since its last move goes on being counted.

    Raises
    ------
    UnableToMoveLine
        For figures out of range, or places at which a fence is not inside the arena.
    """
    _check(line, how)
    with transaction.atomic():
        rule, made = SidewaysRule.objects.select_for_update(of=("self",)).get_or_create(
            line=line, defaults={**asdict(how), "counted_from_at": now}
        )
        before = {} if made else {name: getattr(rule, name) for name in asdict(how)}
        if before != asdict(how):
            for name, value in asdict(how).items():
                setattr(rule, name, value)
            rule.save(update_fields=list(asdict(how)))
            record(
                by=by,
                at=now,
                action="set sideways",
                subject=line,
                before=before,
                after=asdict(how),
            )
        lay_out_moves(now=now, by=by)
        return rule


def end_sideways(*, line: Line, by: Account | None, now: datetime) -> None:
    """Leave a line where it lies from now on; twice is harmless."""
    with transaction.atomic():
        deleted, _ = SidewaysRule.objects.filter(line=line).delete()
        work = open_move(line)
        if work is not None and work.started_at is None:
            call_off(work=work, by=by, now=now)
        if deleted:
            record(by=by, at=now, action="end sideways", subject=line)


def say_where_it_lies(
    *, line: Line, at_cm: int, moved: bool, by: Account | None, now: datetime
) -> tuple[Line, str]:
    """Keep where a line really lies; `moved`: it was moved just now, so count anew.

    Returns the line and a warning in plain words, empty where all is well. A place too
    near another line is kept, since that is where the wings stand; it is warned of.

    Raises
    ------
    UnableToMoveLine
        For a place that is not in the arena.
    """
    with transaction.atomic():
        fresh = (
            Line.objects.select_for_update(of=("self",))
            .select_related("arena")
            .get(pk=line.pk)
        )
        if not 0 < at_cm < fresh.arena.width_cm:
            raise UnableToMoveLine(
                f"{fresh.arena} is {_m(fresh.arena.width_cm)} wide: give a place "
                "between its long sides.",
                "at",
            )
        before = fresh.from_long_side_cm
        if before != at_cm:
            fresh.from_long_side_cm = at_cm
            fresh.save(update_fields=["from_long_side_cm"])
            record(
                by=by,
                at=now,
                action="correct line",
                subject=fresh,
                before={"from_long_side_cm": before},
                after={"from_long_side_cm": at_cm},
            )
            if moved:
                SidewaysRule.objects.filter(line=fresh).update(
                    counted_from_at=now, outward=at_cm > before
                )
        lay_out_moves(now=now, by=by)
        return fresh, _near(fresh)


def _near(line: Line) -> str:
    """Warn of a place too near a side or another line of the arena."""
    half = FENCE_WIDE_CM // 2
    if not half <= line.from_long_side_cm <= line.arena.width_cm - half:
        return "A fence with its wings does not fit between it and the side."
    for one in line.arena.lines.exclude(pk=line.pk).order_by("name", "pk"):
        apart = abs(one.from_long_side_cm - line.from_long_side_cm)
        if apart < FENCE_WIDE_CM:
            return (
                f"{one.name} lies only {_m(apart)} away; a fence with its wings is "
                f"about {_m(FENCE_WIDE_CM)} wide. Move one of them before both are "
                "built."
            )
    return ""


def _check(line: Line, how: Sideways) -> None:
    if how.every_days is None and how.every_uses is None:
        raise UnableToMoveLine(
            "Say after how many days, or lessons over fences.", "every_days"
        )
    for name, value, most in (
        ("every_days", how.every_days, MOST_DAYS),
        ("every_uses", how.every_uses, MOST_USES),
    ):
        if value is not None and not 1 <= value <= most:
            raise UnableToMoveLine(f"Give a number from 1 to {most}.", name)
    if not LEAST_STEP_CM <= how.step_cm <= MOST_STEP_CM:
        raise UnableToMoveLine(
            f"Give from {_m(LEAST_STEP_CM)} to {_m(MOST_STEP_CM)}.", "step"
        )
    half, width = FENCE_WIDE_CM // 2, line.arena.width_cm
    if how.least_cm < half:
        raise UnableToMoveLine(
            f"Give at least {_m(half)}, half the width of a fence with its wings.",
            "least",
        )
    if how.most_cm > width - half:
        raise UnableToMoveLine(
            f"{line.arena} is {_m(width)} wide: give at most {_m(width - half)}, so "
            "that a fence with its wings is inside.",
            "most",
        )
    if how.most_cm < how.least_cm + LEAST_STEP_CM:
        raise UnableToMoveLine("Give more than the nearest place.", "most")


def _m(cm: int) -> str:
    return f"{cm / 100:g} m"
