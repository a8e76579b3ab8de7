"""Next time's stage for each pair of a lesson, from what is logged."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from exercises.geometry.progress import Suggestion, suggest_stage, together
from school.convert import ridden_of
from school.models import Lesson, Ride
from school.queries.lessons import booked_rides
from school.queries.ride_logs import ridden_of_exercise


@dataclass(frozen=True, slots=True)
class PairSuggestion:
    """What is suggested to one pair of a lesson."""

    ride: Ride
    suggestion: Suggestion


@dataclass(frozen=True, slots=True)
class Suggested:
    """What is suggested to a lesson: to each pair, and to the ride as a whole."""

    pairs: Sequence[PairSuggestion]
    stage: int
    stages: int


def suggestions_for(
    lesson: Lesson, exercise_id: int, stages: int, before: datetime
) -> Suggested | None:
    """Suggest the stage of an exercise to each pair of a lesson fetched with all.

    What they rode of it before the moment counts; without horses there is nothing
    to suggest. Two queries, however many ride.
    """
    rides = [one for one in booked_rides(lesson) if one.horse_id is not None]
    if not rides:
        return None
    known = ridden_of_exercise(exercise_id, rides, before)
    pairs = []
    for ride in rides:
        horse = [one for one in known if one.horse_id == ride.horse_id]
        rider = [one for one in known if one.rider_id == ride.rider_id]
        both = [one for one in horse if one.rider_id == ride.rider_id]
        found = suggest_stage(
            ridden_of(both, before),
            stages=stages,
            horse=ridden_of(horse, before),
            rider=ridden_of(rider, before),
        )
        pairs.append(PairSuggestion(ride, found))
    return Suggested(pairs, together([one.suggestion for one in pairs]), stages)
