"""A school's units: how its lengths, heights and horses are written and read.

Everything is kept in whole centimetres; a school chooses how they are shown.
Heights may be given as holes of the wings: hole 1 lies at the first hole's
height, each further one a spacing above (home-made standards have a hole every 5
or 10 cm; Dutch leaflets). Where each conversion comes from stands in
`exercises.geometry.lengths`.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from exercises.geometry.lengths import (
    CM_PER_INCH,
    INCHES_PER_FOOT,
    InvalidLength,
    feet_and_inches,
    hands,
    metres,
    read_hands_cm,
    read_length_cm,
)


class LengthUnit(StrEnum):
    """How distances along the ground are written."""

    METRES = "metres"
    FEET = "feet"


class HeightUnit(StrEnum):
    """How heights of fences are written."""

    CM = "cm"
    FEET = "feet"
    HOLES = "holes"


class HorseUnit(StrEnum):
    """How heights of horses are written."""

    CM = "cm"
    HANDS = "hands"


@dataclass(frozen=True, slots=True)
class Units:
    """What a school writes its lengths in.

    Parameters
    ----------
    lengths, heights, horses
        The units.
    first_hole_cm
        Height of a wing's first hole [cm].
    hole_cm
        From one hole to the next [cm].
    """

    lengths: LengthUnit = LengthUnit.METRES
    heights: HeightUnit = HeightUnit.CM
    horses: HorseUnit = HorseUnit.CM
    first_hole_cm: int = 20
    hole_cm: int = 5

    def length(self, cm: int) -> str:
        """Write a distance, "6.20 m" or "20 ft 4 in" say."""
        if self.lengths is LengthUnit.FEET:
            return feet_and_inches(cm)
        return metres(cm)

    def short_length(self, cm: int) -> str:
        """Write a distance where the unit is said elsewhere, "6.20" or 20'4"."""
        if self.lengths is LengthUnit.METRES:
            return f"{cm / 100:.2f}"
        feet, inches = divmod(round(cm / CM_PER_INCH), INCHES_PER_FOOT)
        return f"{feet}'{inches}\"" if inches else f"{feet}'"

    def short(self, cm: int) -> str:
        """Write a width or a difference below a metre, "90 cm" or "2 ft 11 in"."""
        if self.lengths is LengthUnit.FEET:
            return feet_and_inches(cm)
        return f"{cm} cm"

    def height(self, cm: int) -> str:
        """Write a fence's height, "80 cm", "2 ft 7 in" or "hole 13 (80 cm)" say."""
        if self.heights is HeightUnit.FEET:
            return feet_and_inches(cm)
        hole = self.hole(cm)
        if self.heights is HeightUnit.HOLES and hole is not None:
            return f"hole {hole} ({cm} cm)"
        return f"{cm} cm"

    def short_height(self, cm: int) -> str:
        """Write a height beside its fence in a drawing, "80", 2'7" or "hole 13"."""
        if self.heights is HeightUnit.FEET:
            feet, inches = divmod(round(cm / CM_PER_INCH), INCHES_PER_FOOT)
            return f"{feet}'{inches}\""
        hole = self.hole(cm)
        if self.heights is HeightUnit.HOLES and hole is not None:
            return f"hole {hole}"
        return str(cm)

    def height_change(self, by_cm: int) -> str:
        """Write by how much a height changes, "10 cm", "4 in" or "2 holes" say."""
        by_cm = abs(by_cm)
        if self.heights is HeightUnit.FEET:
            return feet_and_inches(by_cm)
        if self.heights is HeightUnit.HOLES and by_cm % self.hole_cm == 0:
            holes = by_cm // self.hole_cm
            return "one hole" if holes == 1 else f"{holes} holes"
        return f"{by_cm} cm"

    def hole(self, cm: int) -> int | None:
        """Return the number of the hole at a height; None where there is none."""
        above = cm - self.first_hole_cm
        if above < 0 or above % self.hole_cm:
            return None
        return above // self.hole_cm + 1

    @property
    def step_cm(self) -> int:
        """By how much a fence goes up or down at one press, in centimetres."""
        return self.hole_cm if self.heights is HeightUnit.HOLES else 5

    def horse(self, cm: int) -> str:
        """Write a horse's height, "148 cm" or "14.2 hh" say."""
        return hands(cm) if self.horses is HorseUnit.HANDS else f"{cm} cm"

    def read_length(self, text: str) -> int:
        """Read a distance as centimetres; a number alone is in the school's unit.

        Raises
        ------
        InvalidLength
            If it is no distance.
        """
        clean = text.strip()
        if self.lengths is LengthUnit.FEET and re.fullmatch(r"\d{1,3}", clean):
            clean += " ft"
        return read_length_cm(clean)

    def read_height(self, text: str) -> int:
        """Read a fence's height or spread as centimetres.

        A number alone is in the school's unit: centimetres, feet or a hole.

        Raises
        ------
        InvalidLength
            If it is no height.
        """
        clean = text.strip().lower()
        if found := re.fullmatch(r"hole *(\d{1,2})(?: *\(\d{1,3} cm\))?", clean):
            return self._hole_cm(int(found[1]))
        if re.fullmatch(r"\d{1,3}", clean):
            if self.heights is HeightUnit.HOLES:
                return self._hole_cm(int(clean))
            clean += " ft" if self.heights is HeightUnit.FEET else " cm"
        try:
            return read_length_cm(clean)
        except InvalidLength as error:
            raise InvalidLength(
                f"{text[:40]!r} is no height; write {self.height(80)}"
            ) from error

    def read_short(self, text: str) -> int:
        """Read a width below a metre as centimetres; a number alone is cm or feet.

        Raises
        ------
        InvalidLength
            If it is no width.
        """
        clean = text.strip()
        if re.fullmatch(r"\d{1,3}", clean):
            clean += " ft" if self.lengths is LengthUnit.FEET else " cm"
        return read_length_cm(clean)

    def read_horse(self, text: str) -> int:
        """Read a horse's height as centimetres, "148 cm" or "14.2 hh" whichever.

        Raises
        ------
        InvalidLength
            If it is no height.
        """
        clean = text.strip().lower()
        if found := re.fullmatch(r"(\d{2,3}) *cm|(\d{3})", clean):
            return int(found[1] or found[2])
        return read_hands_cm(clean)

    def _hole_cm(self, hole: int) -> int:
        if hole < 1:
            raise InvalidLength("holes are counted from 1, the lowest")
        return self.first_hole_cm + (hole - 1) * self.hole_cm


METRIC = Units()
"""Metres and centimetres throughout."""
