"""Changeovers as a groundsperson ticked them off, on one line after another."""

from datetime import datetime, timedelta
from decimal import Decimal

from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.moves import changeover as cheapest
from scheduling.dayplan.document import placed_as_data
from scheduling.models import Changeover, ChangeoverMove
from school.models import Groundsperson
from tests.clock import NOW
from tests.factories.plans import ChangeoverFactory
from tests.scheduling.changeover.yards import Yard


def timed(
    count: int,
    *,
    who: Groundsperson | None = None,
    seed: int = 0,
    pace: float = 1.5,
    since: datetime = NOW,
) -> list[Changeover]:
    """Make changeovers each of whose steps took `pace` of its usual time."""
    yard, made = Yard.any(seed), []
    standing = yard.setup()
    for n in range(count):
        wanted = yard.setup()
        start = since + timedelta(hours=n)
        done = cheapest(standing, wanted, DEFAULT_HANDLING)
        one = ChangeoverFactory(
            who=who,
            started_at=start,
            starts_at=start,
            ends_at=start + timedelta(hours=1),
        )
        at_s = 60 * pace
        for position, move in enumerate(done.moves, start=1):
            at_s += move.cost_us / 1e6 * pace
            ChangeoverMove.objects.create(
                changeover=one,
                position=position,
                do=move.do.value,
                was=placed_as_data(move.was) if move.was else None,
                now=placed_as_data(move.now) if move.now else None,
                seconds=Decimal(move.cost_us) / 1_000_000,
                ticked_at=start + timedelta(seconds=at_s),
            )
        one.done_at = start + timedelta(seconds=at_s + 2)
        one.save()
        made.append(one)
        standing = wanted
    return made
