"""What a search for horses found, as a run keeps it, and back."""

from typing import Any

from scheduling.matching.engine import Given, Match
from scheduling.matching.problem import Term

Data = dict[str, Any]


def match_as_data(found: Match) -> Data:
    """Return a match as plain data."""
    return {
        "given": [
            {
                "ride": one.seat,
                "horse": one.mount,
                "terms": [[x.name, x.points, x.says] for x in one.terms],
                "next": one.next_best,
                "more": one.more,
            }
            for one in found.given
        ],
        "points": found.points,
        "again": [list(one) for one in found.again.items()],
        "unseated": [
            [ride, [list(one) for one in why.items()]]
            for ride, why in found.unseated.items()
        ],
        "proved": found.proved,
    }


def match_from_data(data: Data) -> Match:
    """Return the match that was kept."""
    return Match(
        given=tuple(
            Given(
                seat=one["ride"],
                mount=one["horse"],
                terms=tuple(Term(*x) for x in one["terms"]),
                next_best=one["next"],
                more=one["more"],
            )
            for one in data["given"]
        ),
        points=data["points"],
        again=dict(data["again"]),
        unseated={ride: dict(why) for ride, why in data["unseated"]},
        proved=data["proved"],
    )
