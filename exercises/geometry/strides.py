"""Which distance suits a horse: three traditions, by height or measured stride.

Gap = n S + A + c(n), less a term for each fence below 0.90 m and for oxers;
bounces, trot-in gaps and poles have lines of their own. S, A and the others
are linear in the horse's height. The coefficients were fitted to published
distance tables (British, Swedish, Dutch, German, French, American) and rounded;
they are starting values, and the tables disagree by as much as half a metre.
Height terms: a British page that walks 0.91 m a side for poles, 1.37 m for tiny
fences and 1.83 m from 0.90 m up.

Left out: indoor against outdoor, and the turn before (published as "shorter",
without a figure).
"""

from dataclasses import dataclass
from enum import StrEnum

from exercises.geometry.elements import FENCES, Element, Kind
from exercises.geometry.spec import STRIDES, Gait, Gap

HORSE_M = 1.65
"""Height the coefficients are centred on, in metres."""

FULL_FENCE_M = 0.90
"""From this height up, landing and take-off need their full room, in metres."""

NARROW_BAND_CM = 15
WIDE_BAND_CM = 25
"""Half the band of poles and bounces, and of all other gaps, in centimetres."""


class Tradition(StrEnum):
    """The family of tables a school builds by."""

    SCHOOLING = "schooling"
    CONTINENTAL = "continental"
    TWELVE_FOOT = "twelve-foot"


@dataclass(frozen=True, slots=True)
class _Line:
    """A value at 1.65 m, and how it grows with each metre of height."""

    at_horse: float
    per_m: float

    def at(self, height_m: float) -> float:
        return self.at_horse + self.per_m * (height_m - HORSE_M)


@dataclass(frozen=True, slots=True)
class _Profile:
    stride: _Line
    allowance: _Line
    one_more: float
    three_more: float
    bounce: _Line


_SCHOOLING_BOUNCE = _Line(3.40, 2.2)

_PROFILES = {
    Tradition.SCHOOLING: _Profile(
        _Line(3.48, 1.85), _Line(3.36, 2.4), 0.05, 0.25, _SCHOOLING_BOUNCE
    ),
    # No bounce stands in competition tables: the schooling one serves.
    Tradition.CONTINENTAL: _Profile(
        _Line(3.55, 2.0), _Line(3.85, 2.9), 0.30, 0.25, _SCHOOLING_BOUNCE
    ),
    Tradition.TWELVE_FOOT: _Profile(
        _Line(3.66, 1.05), _Line(3.45, 1.2), 0.30, 0.0, _Line(3.65, 1.3)
    ),
}

_TROT_ONE_STRIDE = (_Line(5.70, 1.8), _Line(6.55, 2.1), _Line(6.98, 2.1))
_TROT_STRIDES = {2: _Line(9.5, 4.1), 3: _Line(13.1, 6.5)}
_TROT_BOUNCE = _Line(3.05, 0.9)

_POLES = {
    Gap.TROT_POLES: 0.80,
    Gap.CANTER_POLES: 1.85,
    Gap.PLACING_TROT: 1.62,
    Gap.PLACING_CANTER: 1.85,
    Gap.LANDING: 2.0,
}
"""Distances of poles as a share of the height at the withers."""

_RAISED_M = 0.10
MID_STRIDE_LANDING_SHARE = 0.52
"""A mid-stride plank lies this far into the stride from the landing side."""


@dataclass(frozen=True, slots=True)
class HorseSize:
    """A horse as far as distances go.

    Parameters
    ----------
    name
        To be named in verdicts.
    height_cm
        At the withers [cm].
    stride_cm
        Its measured canter stride [cm]; None where it is estimated.
    """

    name: str
    height_cm: int
    stride_cm: int | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """What lengthens or shortens a distance; each adds or takes 10 cm a gap.

    A course designer may vary a distance by 0.10 m for going and slope (Spanish
    page, read in a digest). Downhill is longer by a British textbook; a German
    page says the opposite, so leave it off where the school rides that way.
    """

    deep: bool = False
    uphill: bool = False
    downhill: bool = False

    @property
    def change_m(self) -> float:
        """Metres to add to a gap of one stride or more."""
        return 0.10 * (self.downhill - self.uphill - self.deep)


@dataclass(frozen=True, slots=True)
class GapTarget:
    """The distance that suits a horse, its band, and where it comes from [cm]."""

    target_cm: int
    low_cm: int
    high_cm: int
    says: str


class UnableToMeasure(ValueError):
    """A gap that no table gives a distance for."""


def stride_m(height_m: float, tradition: Tradition = Tradition.SCHOOLING) -> float:
    """Estimate the canter stride of a horse from its height, in metres."""
    return _PROFILES[tradition].stride.at(height_m)


def canter_gap_m(
    tradition: Tradition,
    strides: int,
    height_m: float,
    first: Element | None = None,
    second: Element | None = None,
) -> float:
    """Distance of n strides approached in canter, in metres.

    Parameters
    ----------
    tradition
        Whose table.
    strides
        Between the two elements, one or more.
    height_m
        Of the horse at the withers [m].
    first, second
        The elements; None for fences of 0.90 m and more, as in the tables.
    """
    profile = _PROFILES[tradition]
    more = {1: profile.one_more, 2: 0.0}.get(strides, profile.three_more)
    distance = strides * profile.stride.at(height_m) + profile.allowance.at(height_m)
    distance += more
    for element, leads in ((first, True), (second, False)):
        if element is not None:
            distance -= FULL_FENCE_M - min(element.height_cm / 100, FULL_FENCE_M)
            distance -= _oxer_m(element, leads=leads)
    return distance


def _oxer_m(element: Element, *, leads: bool) -> float:
    if element.kind is not Kind.OXER:
        return 0.0
    if element.ascending:
        return 0.0 if leads else 0.28
    return 0.12


def bounce_m(
    tradition: Tradition,
    height_m: float,
    first: Element | None = None,
    second: Element | None = None,
) -> float:
    """Distance of a bounce in canter, in metres; at 0.60 m without elements."""
    distance = _PROFILES[tradition].bounce.at(height_m)
    for element in (first, second):
        if element is not None:
            distance += 0.5 * (min(element.height_cm / 100, FULL_FENCE_M) - 0.60)
    return distance


def trot_in_m(strides: int, gap_number: int, height_m: float) -> float | None:
    """Distance of the first gaps of a row trotted into, in metres.

    Returns None where the horse canters as if it had come in canter. Gap numbers
    count gaps between fences from 1.
    """
    if strides == 1 and gap_number <= len(_TROT_ONE_STRIDE):
        return _TROT_ONE_STRIDE[gap_number - 1].at(height_m)
    if gap_number == 1 and strides in _TROT_STRIDES:
        return _TROT_STRIDES[strides].at(height_m)
    return None


def pole_gap_m(gap: Gap, height_m: float, *, raised: bool = False) -> float:
    """Distance between poles, or from a pole to a fence, in metres."""
    distance = _POLES[gap] * height_m
    return distance - _RAISED_M if raised and gap is Gap.TROT_POLES else distance


@dataclass(frozen=True, slots=True)
class GapSetting:
    """Where a gap stands in its row.

    Parameters
    ----------
    gap
        How it is meant.
    first, second
        The elements it lies between; for the halves of a mid-stride, the two
        fences.
    approach
        Gait of the row.
    number
        Which gap between fences it is, counted from 1.
    """

    gap: Gap
    first: Element
    second: Element
    approach: Gait
    number: int


def gap_target(
    setting: GapSetting,
    horse: HorseSize,
    tradition: Tradition,
    ground: Ground | None = None,
) -> GapTarget:
    """Return the distance of a gap that suits a horse.

    Raises
    ------
    UnableToMeasure
        For a gap given as a measure: it is what it is.
    """
    if setting.gap is Gap.MEASURE:
        raise UnableToMeasure("a gap given as a measure suits by itself or not")
    height_m = horse.height_cm / 100
    strides = STRIDES.get(setting.gap, 0)
    share = {
        Gap.MID_STRIDE_LANDING: MID_STRIDE_LANDING_SHARE,
        Gap.MID_STRIDE_TAKE_OFF: 1 - MID_STRIDE_LANDING_SHARE,
    }.get(setting.gap, 1.0)
    if share < 1:
        strides = 1
    if setting.gap in _POLES:
        raised = Kind.RAISED_POLE in {setting.first.kind, setting.second.kind}
        distance = pole_gap_m(setting.gap, height_m, raised=raised)
    elif strides:
        distance = _strides_m(setting, strides, height_m, tradition)
        if horse.stride_cm is not None:
            model = stride_m(height_m, tradition)
            distance += strides * (horse.stride_cm / 100 - model)
        distance = (distance + (ground or Ground()).change_m) * share
    else:
        distance = _bounce_in_row_m(setting, height_m, tradition)
    target = round(distance * 100)
    narrow = not strides or share < 1
    half = NARROW_BAND_CM if narrow else WIDE_BAND_CM
    measured = f", stride {horse.stride_cm} cm measured" if horse.stride_cm else ""
    says = (
        f"{tradition.value} table, {horse.height_cm} cm{measured}, "
        f"{setting.approach.value} in; fitted to published tables, the coach decides"
    )
    return GapTarget(target, target - half, target + half, says)


def _strides_m(
    setting: GapSetting, strides: int, height_m: float, tradition: Tradition
) -> float:
    canter = canter_gap_m(tradition, strides, height_m, setting.first, setting.second)
    between_fences = {setting.first.kind, setting.second.kind} <= FENCES
    if setting.approach is Gait.CANTER or not between_fences:
        return canter
    trot = trot_in_m(strides, setting.number, height_m)
    if trot is None:
        return canter
    # A gap trotted into is never longer than the same gap from canter.
    return min(trot, canter_gap_m(tradition, strides, height_m))


def _bounce_in_row_m(
    setting: GapSetting, height_m: float, tradition: Tradition
) -> float:
    canter = bounce_m(tradition, height_m, setting.first, setting.second)
    if setting.approach is Gait.TROT and setting.number == 1:
        return min(canter - 0.10, _TROT_BOUNCE.at(height_m))
    return canter
