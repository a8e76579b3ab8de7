"""Lengths as people write them: metres, feet and inches, hands.

Everything is kept in whole centimetres. A foot is 0.3048 m exactly and an inch a
twelfth of it (international yard and pound agreement of 1959; NIST Handbook 44,
appendix C; both from memory). A hand is four inches, and the figure after the
point of a height in hands is inches, 0 to 3 (enviroliteracy.org on the 148 cm
pony; arithmetic on it).
"""

import re

CM_PER_INCH = 2.54
INCHES_PER_FOOT = 12
INCHES_PER_HAND = 4

_CM = re.compile(r"(\d{1,4}) *cm")
_METRES = re.compile(r"(\d{1,3}(?:\.\d{1,4})?) *(?:m|metres?)")
_FEET = re.compile(
    r"(?:(\d{1,3}) *(?:ft|feet|foot|'))? *(?:(\d{1,3}) *(?:in|inch|inches|\"|''))?"
)


class InvalidLength(ValueError):
    """A text that is no length, with what would be one."""


def metres(length_cm: int) -> str:
    """Write a length in metres with two decimals, "6.20 m" say."""
    return f"{length_cm / 100:.2f} m"


def feet_and_inches(length_cm: int) -> str:
    """Write a length in feet and whole inches, "20 ft 4 in" say."""
    feet, inches = divmod(round(length_cm / CM_PER_INCH), INCHES_PER_FOOT)
    if not feet:
        return f"{inches} in"
    return f"{feet} ft {inches} in" if inches else f"{feet} ft"


def hands(height_cm: int) -> str:
    """Write a horse's height in hands; after the point stand inches, 0 to 3."""
    whole, inches = divmod(round(height_cm / CM_PER_INCH), INCHES_PER_HAND)
    return f"{whole}.{inches} hh"


def read_length_cm(text: str) -> int:
    """Read "6.2", "6.20 m", "620 cm", "20 ft", "20 ft 4 in" or 20'4" as centimetres.

    Raises
    ------
    InvalidLength
        If it is none of these.
    """
    clean = text.strip().lower().replace(",", ".")
    if re.fullmatch(r"\d{1,3}(?:\.\d{1,4})?", clean):
        clean += " m"
    if found := _CM.fullmatch(clean):
        return int(found[1])
    if found := _METRES.fullmatch(clean):
        return round(float(found[1]) * 100)
    found = _FEET.fullmatch(clean)
    if found and (found[1] or found[2]):
        inches = int(found[1] or 0) * INCHES_PER_FOOT + int(found[2] or 0)
        return round(inches * CM_PER_INCH)
    raise InvalidLength(f"{text[:40]!r} is no length; write 6.20 m or 20 ft 4 in")


def read_hands_cm(text: str) -> int:
    """Read a horse's height in hands, "14.2" say, as centimetres.

    Raises
    ------
    InvalidLength
        If it is no height in hands.
    """
    found = re.fullmatch(r"(\d{1,2})(?:\.([0-3]))?(?: *hh)?", text.strip().lower())
    if not found:
        raise InvalidLength(f"{text[:40]!r} is no height in hands; write 14.2")
    inches = int(found[1]) * INCHES_PER_HAND + int(found[2] or 0)
    return round(inches * CM_PER_INCH)
