"""How well something fits, and a verdict on it."""

from dataclasses import dataclass
from enum import StrEnum


class Fit(StrEnum):
    """How well something fits."""

    FITS = "fits"
    LOOK = "look at it"
    DOES_NOT = "does not fit"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One verdict: about what, how well, why, the figure, and what would cure it.

    `firm` verdicts can't be overruled: the row cannot be built or would not be
    safe with this equipment.
    """

    subject: str
    fit: Fit
    says: str
    figure: str = ""
    cure: str = ""
    firm: bool = False
