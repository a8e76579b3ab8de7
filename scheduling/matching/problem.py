"""Who might ride whom: seats, horses, and what speaks for and against each pair."""

from dataclasses import dataclass, field
from enum import StrEnum


class Liking(StrEnum):
    """What is noted of a rider and a horse."""

    WISH = "wish"
    RATHER_NOT = "rather-not"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class Weights:
    """What counts how much, in points; all are the school's to argue with.

    Shares are in thousandths of the horse's weight, carried weight being rider and
    saddle. That 150 is watched and 200 refused, 125 watched for jumping, is drawn
    from four small studies that do not agree in the end (handbook of practice,
    section 2: "mine, from S1 to S4"). One session of jumping a day and none on two
    days running: own estimate there. That the horse should jump higher than its
    rider, and leg and barrel go together: common practice, no source. The points
    themselves are estimates.
    """

    saddle_kg: int = 8
    ideal_share: int = 100
    watch_share: int = 150
    watch_share_jumping: int = 125
    refuse_share: int = 200
    share: int = 1
    share_watched: int = 2
    level_below: int = 40
    level_far_above: int = 20
    fence_per_10_cm: int = 10
    height_free_cm: int = 15
    height_per_cm: int = 1
    strange_horse: int = 8
    too_much_before: int = 30
    work_free_min: int = 60
    work_per_10_min: int = 2
    jumped_yesterday: int = 20
    jumps_again: int = 25
    wish_missed: int = 25
    rather_not: int = 40
    other_horse: int = 6


@dataclass(frozen=True, slots=True)
class Held:
    """A time in which a horse goes elsewhere, or is not to be ridden."""

    from_s: int
    to_s: int
    says: str
    work: bool = True
    jumping: bool = False


@dataclass(frozen=True, slots=True)
class Mount:
    """A horse, its limits, what it did yesterday and is held for today.

    Levels count from 0; times are seconds from one moment common to all.
    """

    key: int
    name: str
    weight_kg: int
    height_cm: int
    level: int
    highest_fence_cm: int
    rest_s: int = 1800
    max_lessons: int = 3
    max_s: int = 10800
    yesterday_min: int = 0
    jumped_yesterday: bool = False
    held: tuple[Held, ...] = ()


@dataclass(frozen=True, slots=True)
class Seat:
    """A rider's place in a lesson that wants a horse.

    `fence_cm` and `grid_level` are of the lesson's grid, where it has one.
    `confidence` is from 1 (timid) to 5. `rode` are the horses ridden before, with
    whether one was too much; `likes` what is noted of horses; `barred` horses that a
    rule kept elsewhere forbids here, with its words; `now` the horse given so far;
    `fixed` the one that must be.
    """

    key: int
    name: str
    lesson: int
    from_s: int
    to_s: int
    weight_kg: int
    level: int
    highest_fence_cm: int
    height_cm: int | None = None
    jumping: bool = False
    fence_cm: int = 0
    grid_level: int = 0
    confidence: int = 3
    rode: dict[int, bool] = field(default_factory=dict)
    likes: dict[int, Liking] = field(default_factory=dict)
    barred: dict[int, str] = field(default_factory=dict)
    now: int | None = None
    fixed: int | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """All seats and horses that are looked at together."""

    seats: tuple[Seat, ...]
    mounts: tuple[Mount, ...]
    weights: Weights = Weights()


@dataclass(frozen=True, slots=True)
class Term:
    """One reason for or against a pair: its points, and words with their figures."""

    name: str
    points: int
    says: str
