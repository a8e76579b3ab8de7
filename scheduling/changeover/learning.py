"""Handling times learned from stretches of ticked-off work.

Each time is its default times a factor of the yard and one of its own; what is
seldom seen stays near the yard's factor. A stretch takes the sum of its handlings,
times a factor of the person, times one where two work together, times chance.
Breaks and forgotten telephones are outliers: Cauchy's loss on the logarithm of the
time taken lets a few of them count for little. Estimated at the mode of the
posterior, with the uncertainty of Laplace's approximation (C. Bishop, Pattern
Recognition and Machine Learning, 2006, 4.4; from memory). The spreads below are the
school's own estimates before anything was seen.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from scheduling.changeover.effort import DEFAULT_HANDLING, Handling
from scheduling.changeover.stopwatch import Stretch
from scheduling.changeover.work import KEYS, times_of

Vector = npt.NDArray[np.float64]

ENOUGH = 10
"""Changeovers before anything is estimated."""

YARD_SPREAD, OWN_SPREAD, PERSON_SPREAD, PAIR_SPREAD = 0.6, 0.35, 0.15, 0.2
"""Spreads of the logarithms of the factors before anything is seen."""

PAIR_FACTOR = 0.5
"""Two halve the time (common practice, no source)."""

CHANCE = 0.25
"""Spread of the logarithm of a stretch's time, until it is estimated itself."""

LEAST_CHANCE = 0.03
ROUNDS = 3
HARDLY = 0.1
"""A stretch that weighs less than this is said to be set aside."""

SPREAD_OF_MEDIAN = 1.4826
"""Spread of a normal distribution over the median of its deviations."""

Z90 = 1.645
"""Half the width of the interval that holds nine in ten of a normal distribution."""


class UnableToLearn(ValueError):
    """Too little was seen."""


@dataclass(frozen=True, slots=True)
class Factor:
    """A factor, and the interval that holds it nine times in ten."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LearnedTime:
    """One handling time as learned [s, s/m], and the interval that holds it.

    `seen` is how often it was part of the work, of a carry the piece-metres.
    """

    key: str
    default_s: float
    seconds: float
    low_s: float
    high_s: float
    seen: float


@dataclass(frozen=True, slots=True)
class Learned:
    """What a yard's ticks tell.

    Parameters
    ----------
    times
        Of each handling, for one person of the usual pace alone.
    persons
        Pace of each person: above 1 is slower than the usual.
    pair
        What two together need of the time of one; None where never seen.
    stretches, set_aside
        How many stretches were looked at, and how many hardly counted.
    """

    times: tuple[LearnedTime, ...]
    persons: dict[str, Factor]
    pair: Factor | None
    stretches: int
    set_aside: int

    def handling(self) -> dict[str, object]:
        """Return the times as the day file's `handling`, to a tenth of a second."""
        found: dict[str, object] = {}
        of_pieces: dict[str, dict[str, float]] = {}
        for one in self.times:
            piece, dot, name = one.key.rpartition(".")
            if dot:
                places = 2 if name == "per_m_s" else 1
                of_pieces.setdefault(piece, {})[name] = round(one.seconds, places)
            else:
                found[name] = round(one.seconds, 1)
        return found | of_pieces


def learn(
    seen: Sequence[Stretch], changeovers: int, before: Handling = DEFAULT_HANDLING
) -> Learned:
    """Estimate a yard's handling times.

    Parameters
    ----------
    seen
        Stretches of work with the time each took.
    changeovers
        How many changeovers they come from.
    before
        The times believed before; one of nothing stays so.

    Raises
    ------
    UnableToLearn
        From fewer than `ENOUGH` changeovers.
    """
    if changeovers < ENOUGH or not seen:
        raise UnableToLearn(
            f"{changeovers} of at least {ENOUGH} changeovers have been timed; "
            "press start and tick each step as it is done."
        )
    return _Fit(seen, before).learned()


class _Fit:
    """Unknowns: the yard's factor, each time's own, the persons', the pair's."""

    def __init__(self, seen: Sequence[Stretch], before: Handling) -> None:
        self.default = times_of(before)
        self.known = np.flatnonzero(self.default > 0)
        self.persons = sorted({one.person for one in seen})
        self.amounts = np.array([one.amounts for one in seen])
        self.log_s = np.log([one.seconds for one in seen])
        self.pair = np.array([one.pair for one in seen], dtype=np.float64)
        of = [self.persons.index(one.person) for one in seen]
        self.of_person = np.eye(len(self.persons))[of]
        self.spreads = np.concatenate(
            [
                [YARD_SPREAD],
                np.full(len(self.known), OWN_SPREAD),
                np.full(len(self.persons), PERSON_SPREAD),
                [PAIR_SPREAD],
            ]
        )
        self.parts = self.amounts[:, self.known] * self.default[self.known]

    def learned(self) -> Learned:
        """Fit with the chance of a stretch as it shows itself, a few times over."""
        chance, at = CHANCE, np.zeros(len(self.spreads))
        for _ in range(ROUNDS):
            at = self._solve(chance, at)
            off = np.abs(self._off(at))
            chance = max(LEAST_CHANCE, SPREAD_OF_MEDIAN * float(np.median(off)))
        return self._read(at, self._covariance(at, chance), chance)

    def _solve(self, chance: float, at: Vector) -> Vector:
        n = len(self.log_s)

        def off(x: Vector) -> Vector:
            return np.concatenate([self._off(x) / chance, x / self.spreads])

        def slope(x: Vector) -> Vector:
            return np.vstack([self._slope(x) / chance, np.diag(1 / self.spreads)])

        def loss(z: Vector, *, cost_only: bool | None = None) -> npt.NDArray[Any]:
            """Cauchy's for what was seen, squares for what was believed before."""
            rho = np.array([z, np.ones_like(z), np.zeros_like(z)])
            seen = z[:n]
            rho[:, :n] = np.log1p(seen), 1 / (1 + seen), -1 / (1 + seen) ** 2
            return rho

        found: Vector = least_squares(off, at, jac=slope, loss=loss).x
        return found

    def _expected(self, x: Vector) -> tuple[Vector, Vector]:
        """Return each stretch's handlings and their sum, at the usual pace [s]."""
        own = self.parts * np.exp(x[1 : 1 + len(self.known)])
        return own, own.sum(axis=1)

    def _off(self, x: Vector) -> Vector:
        """Logarithm of the time expected over the time taken. Shape (stretches,)."""
        k = 1 + len(self.known)
        _, total = self._expected(x)
        people = self.of_person @ x[k:-1] + self.pair * (np.log(PAIR_FACTOR) + x[-1])
        off: Vector = np.log(total) + x[0] + people - self.log_s
        return off

    def _slope(self, x: Vector) -> Vector:
        own, total = self._expected(x)
        return np.column_stack(
            [np.ones(len(total)), own / total[:, None], self.of_person, self.pair]
        )

    def _weights(self, x: Vector, chance: float) -> Vector:
        weights: Vector = 1 / (1 + (self._off(x) / chance) ** 2)
        return weights

    def _covariance(self, x: Vector, chance: float) -> Vector:
        slope = self._slope(x) / chance
        curve = (slope.T * self._weights(x, chance)) @ slope
        inverse = np.linalg.inv(curve + np.diag(1 / self.spreads**2))
        return inverse.astype(np.float64)

    def _read(self, x: Vector, covariance: Vector, chance: float) -> Learned:
        def factor(direction: Vector, offset: float = 0.0) -> Factor:
            at = float(direction @ x) + offset
            spread = Z90 * float(np.sqrt(direction @ covariance @ direction))
            return Factor(*(float(np.exp(at + d)) for d in (0.0, -spread, spread)))

        unit, k = np.eye(len(x)), 1 + len(self.known)
        # The usual pace is that of those who did the work, each by their share.
        share = np.zeros(len(x))
        share[k:-1] = self.of_person.mean(axis=0)
        times = []
        for n, index in enumerate(self.known, start=1):
            one = factor(unit[0] + unit[n] + share)
            usual = float(self.default[index])
            times.append(
                LearnedTime(
                    KEYS[index],
                    usual,
                    usual * one.value,
                    usual * one.low,
                    usual * one.high,
                    float(self.amounts[:, index].sum()),
                )
            )
        persons = {
            name: factor(unit[k + n] - share) for n, name in enumerate(self.persons)
        }
        pair = factor(unit[-1], float(np.log(PAIR_FACTOR)))
        aside = int((self._weights(x, chance) < HARDLY).sum())
        return Learned(
            tuple(times),
            persons,
            pair if self.pair.any() else None,
            len(self.log_s),
            aside,
        )
