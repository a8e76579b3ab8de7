"""A yard whose true handling times are known, and what its telephones tell of it."""

from dataclasses import dataclass

import numpy as np

from exercises.geometry.elements import GroundLine, Kind
from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.moves import changeover
from scheduling.changeover.setups import Setup
from scheduling.changeover.stopwatch import Stretch, Tick, stretches
from scheduling.changeover.work import Amounts, amounts_of, times_of
from tests.scheduling.changeover.builders import CROSS, OXER, RAISED, VERTICAL, placed


@dataclass
class Yard:
    """Times of the usual pace [s], the pace of each person, of a pair, and luck.

    Of the changeovers `forgot` are ticked in one go at the end, the telephone
    being elsewhere; in `break_s` of the steps somebody has coffee.
    """

    rng: np.random.Generator
    times: Amounts
    paces: dict[str, float]
    pair: float = 0.5
    chance: float = 0.15
    forgot: float = 0.08
    breaks: float = 0.04

    @classmethod
    def any(cls, seed: int) -> "Yard":
        rng = np.random.default_rng(seed)
        usual = times_of(DEFAULT_HANDLING)
        own = rng.normal(0, 0.25, len(usual))
        times = usual * np.exp(rng.normal(0, 0.3) + own)
        return cls(rng, times, {"Ana": 1.0, "Ben": float(np.exp(rng.normal(0, 0.12)))})

    def work(self, changeovers: int) -> list[Stretch]:
        seen: list[Stretch] = []
        standing = self.setup()
        for _ in range(changeovers):
            wanted = self.setup()
            seen += self.change(standing, wanted)
            standing = wanted
        return seen

    def change(self, standing: Setup, wanted: Setup) -> tuple[Stretch, ...]:
        person = str(self.rng.choice(list(self.paces)))
        pair = bool(self.rng.random() < 0.2)
        pace = self.paces[person] * (self.pair if pair else 1)
        at, ticks = self.times[0] * pace * self.luck(), []
        for move in changeover(standing, wanted, DEFAULT_HANDLING).moves:
            step = (move.was, move.now)
            at += float(amounts_of([step]) @ self.times) * pace * self.luck()
            if self.rng.random() < self.breaks:
                at += self.rng.uniform(120, 900)
            ticks.append(Tick(step, at))
        if self.rng.random() < self.forgot:
            at += self.rng.uniform(0, 600)
            ticks = [Tick(tick.step, at) for tick in ticks]
        return stretches(ticks, at + self.rng.uniform(1, 10), person, pair=pair)

    def luck(self) -> float:
        return float(np.exp(self.rng.normal(0, self.chance)))

    def setup(self) -> Setup:
        at, found = int(self.rng.integers(0, 300)) * 5, []
        for _ in range(self.rng.integers(2, 7)):
            kind = Kind(self.rng.choice(list(Kind)))
            more: dict = {}
            if kind in {CROSS, VERTICAL, OXER}:
                more["height_cm"] = int(self.rng.integers(4, 11)) * 10
            if kind is VERTICAL:
                more["guides"] = bool(self.rng.random() < 0.2)
                more["ground_line"] = GroundLine(self.rng.choice(["none", "take-off"]))
            if kind is OXER:
                more["spread_cm"] = int(self.rng.integers(5, 11)) * 10
            if kind is RAISED:
                more["height_cm"] = 15
            faces = "up" if self.rng.random() < 0.8 else "down"
            one = placed(kind, at, faces, **more)
            found.append(one)
            at = one.far_cm + int(self.rng.integers(50, 140)) * 5
        return tuple(found)

    def usual_times(self, seen: list[Stretch]) -> Amounts:
        """True times at the pace of those who did the work, each by their share."""
        pace = np.mean([np.log(self.paces[one.person]) for one in seen])
        return self.times * float(np.exp(pace))
