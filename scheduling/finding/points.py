"""What speaks against a time for a lesson, in points with their words.

All weights are estimates, the school's to argue with; that reset minutes come
first, then the horse, then the instructor's day, then how soon, is how the trade
speaks of it (common practice, no source).
"""

from dataclasses import dataclass

from scheduling.finding.best import Points


@dataclass(frozen=True, slots=True)
class Weights:
    """Points by what they are for.

    Attributes
    ----------
    reset_minute
        A minute of changing fences that is added; one that is saved counts as much
        the other way.
    unknown
        The planner would have to be asked whether the fences find their time. More
        than all the rest, so that what is known always stands before it.
    horse_full
        A horse that has all it may do with this lesson; less where it has room.
    horse_warned
        A rule of horses' work that warns.
    pair
        A point of the matching of riders and horses.
    alone, wait_quarter, wait_most
        An instructor who comes for this lesson alone; a quarter of an hour's wait
        beside the nearest other lesson, and the most that waiting counts.
    later_day
        A day's wait for the lesson.
    short_notice
        Within the notice, so that the place can't be given back free of charge.
    """

    reset_minute: Points = 2
    unknown: Points = 1_000_000
    horse_full: Points = 20
    horse_warned: Points = 10
    pair: Points = 0.5
    alone: Points = 8
    wait_quarter: Points = 1
    wait_most: Points = 6
    later_day: Points = 0.5
    short_notice: Points = 4


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that was looked at: its points, and words with their figures."""

    name: str
    points: Points
    says: str


def reset_points(added_s: int, weights: Weights) -> Points:
    """Return the points of seconds of reset that are added, or saved."""
    return weights.reset_minute * added_s / 60


def reset_words(added_s: int) -> str:
    """Say what a lesson adds to the changing of fences, a begun minute whole."""
    if added_s > 0:
        return f"adds {-(-added_s // 60)} min of changing fences"
    if added_s == 0:
        return "adds no changing of fences"
    whole = -added_s // 60
    saves = f"saves {whole} min" if whole else "saves less than a minute"
    return f"{saves} of changing fences"


def load_points(share: float, weights: Weights) -> Points:
    """Return the points of a horse that has a share of what it may do in a day."""
    return weights.horse_full * share


def teacher_points(wait_min: int | None, weights: Weights) -> Points:
    """Return the points of an instructor's wait beside the nearest other lesson.

    None where there is no other lesson that day.
    """
    if wait_min is None:
        return weights.alone
    return min(weights.wait_most, weights.wait_quarter * wait_min / 15)


def teacher_reason(name: str, wait_min: int | None, weights: Weights) -> Reason:
    """Say what the lesson is beside in its instructor's day."""
    if wait_min is None:
        says = f"{name} has no other lesson that day"
    elif wait_min == 0:
        says = f"{name} goes on from one lesson to the next"
    else:
        says = f"{name} has another lesson {wait_min} min before or after"
    return Reason("instructor", teacher_points(wait_min, weights), says)


def wish_points(days: int, *, short_notice: bool, weights: Weights) -> Points:
    """Return the points of a time so many days from the first that was asked for."""
    return weights.later_day * days + (weights.short_notice if short_notice else 0)
