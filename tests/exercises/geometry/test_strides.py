"""Distances against published tables and worked examples."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Element, Kind
from exercises.geometry.spec import Gait, Gap
from exercises.geometry.strides import (
    GapSetting,
    Ground,
    HorseSize,
    Tradition,
    UnableToMeasure,
    bounce_m,
    canter_gap_m,
    gap_target,
    pole_gap_m,
    stride_m,
    trot_in_m,
)
from tests.exercises.geometry.published import DEFAULTS

S, C, B = Tradition.SCHOOLING, Tradition.CONTINENTAL, Tradition.TWELVE_FOOT
HORSE, PONY = HorseSize("Horse", 165), HorseSize("Pony", 148)


def fence(kind: Kind, height_cm: int, **more) -> Element:
    return Element(kind, 0, height_cm, **more)


X, V5 = fence(Kind.CROSS, 40), fence(Kind.VERTICAL, 50)
V8, V9 = fence(Kind.VERTICAL, 80), fence(Kind.VERTICAL, 90)
POLE = Element(Kind.POLE)


@pytest.mark.parametrize("height", sorted(DEFAULTS))
def test_the_table_of_defaults_is_reproduced_to_the_centimetre(height: float) -> None:
    cap = canter_bounce = bounce_m(S, height)
    found = (
        stride_m(height),
        pole_gap_m(Gap.TROT_POLES, height),
        pole_gap_m(Gap.PLACING_TROT, height),
        pole_gap_m(Gap.PLACING_CANTER, height),
        min(cap - 0.10, 3.05 + 0.9 * (height - 1.65)),
        canter_bounce,
        *(trot_in_m(1, n, height) for n in (1, 2, 3)),
        *(canter_gap_m(S, n, height) for n in (1, 2, 3)),
        *(canter_gap_m(C, n, height) for n in (1, 2, 3)),
    )

    assert found == pytest.approx(DEFAULTS[height], abs=0.0101)


def target(
    gap: Gap,
    first: Element,
    second: Element,
    horse: HorseSize = HORSE,
    tradition: Tradition = S,
    approach: Gait = Gait.TROT,
    number: int = 1,
) -> float:
    setting = GapSetting(gap, first, second, approach, number)
    return gap_target(setting, horse, tradition).target_cm / 100


def test_a_gap_trotted_into_is_never_longer_than_from_canter() -> None:
    """For ponies the British figures exceed the schooling table: it caps them."""
    small = HorseSize("Small", 117)

    trotted = target(Gap.ONE_STRIDE, V9, V9, small, number=3)

    assert trotted == pytest.approx(canter_gap_m(S, 1, 1.17), abs=0.01)


def test_raised_poles_lie_ten_centimetres_closer() -> None:
    """Swedish table: raised poles shorten by at least 0.10 m, a."""
    raised = Element(Kind.RAISED_POLE, 0, 15)

    assert target(Gap.TROT_POLES, raised, raised) == pytest.approx(1.22)


def test_a_mid_stride_plank_parts_the_stride_52_to_48() -> None:
    """Dutch leaflets: landing side 3.5-3.8, take-off side 3.2-3.5 m, a."""
    landing = target(Gap.MID_STRIDE_LANDING, V8, V8, approach=Gait.CANTER)
    take_off = target(Gap.MID_STRIDE_TAKE_OFF, V8, V8, approach=Gait.CANTER)
    whole = target(Gap.ONE_STRIDE, V8, V8, approach=Gait.CANTER)

    assert landing + take_off == pytest.approx(whole, abs=0.02)
    assert landing / whole == pytest.approx(0.52, abs=0.002)


def test_oxers_shorten_as_the_tables_have_it() -> None:
    """Dutch pony tables: 0.1-0.2 m for a square oxer, more into an ascending one."""
    square = fence(Kind.OXER, 90, spread_cm=80)
    rising = fence(Kind.OXER, 90, spread_cm=80, ascending=True)
    plain = canter_gap_m(C, 1, 1.48, V9, V9)

    assert plain - canter_gap_m(C, 1, 1.48, square, V9) == pytest.approx(0.12)
    assert plain - canter_gap_m(C, 1, 1.48, V9, square) == pytest.approx(0.12)
    assert plain - canter_gap_m(C, 1, 1.48, V9, rising) == pytest.approx(0.28)
    assert plain == canter_gap_m(C, 1, 1.48, rising, V9)


@pytest.mark.parametrize("height_m", [1.17, 1.30, 1.40, 1.48, 1.65])
def test_the_canter_stride_is_about_2_2_times_the_height(height_m: float) -> None:
    """Fit over five tables (NZ, French, US, Swedish, Dutch); residual up to 0.18 m."""
    assert stride_m(height_m) == pytest.approx(2.2 * height_m, abs=0.18)


@given(st.integers(110, 175), st.integers(-40, 40), st.sampled_from([1, 2, 3, 4, 5]))
def test_a_measured_stride_shifts_by_its_difference_each_stride(
    height_cm: int, longer_cm: int, strides: int
) -> None:
    gap = list(Gap)[strides]
    setting = GapSetting(gap, V9, V9, Gait.CANTER, 1)
    usual = round(stride_m(height_cm / 100) * 100)
    plain = gap_target(setting, HorseSize("a", height_cm), S)
    measured = gap_target(setting, HorseSize("a", height_cm, usual + longer_cm), S)

    shift = measured.target_cm - plain.target_cm
    assert abs(shift - strides * longer_cm) <= strides / 2 + 1
    assert "measured" in measured.says
    assert "measured" not in plain.says


def test_the_ground_changes_a_gap_by_ten_centimetres_each() -> None:
    setting = GapSetting(Gap.ONE_STRIDE, V9, V9, Gait.CANTER, 1)
    plain = gap_target(setting, HORSE, S).target_cm

    assert gap_target(setting, HORSE, S, Ground(deep=True)).target_cm == plain - 10
    assert gap_target(setting, HORSE, S, Ground(uphill=True)).target_cm == plain - 10
    assert gap_target(setting, HORSE, S, Ground(downhill=True)).target_cm == plain + 10


def test_bands_are_narrow_for_bounces_and_wide_for_strides() -> None:
    bounce = gap_target(GapSetting(Gap.BOUNCE, X, X, Gait.CANTER, 1), HORSE, S)
    stride = gap_target(GapSetting(Gap.ONE_STRIDE, X, X, Gait.CANTER, 1), HORSE, S)

    assert bounce.high_cm - bounce.low_cm == 30
    assert stride.high_cm - stride.low_cm == 50


def test_a_measure_has_no_target() -> None:
    with pytest.raises(UnableToMeasure):
        gap_target(GapSetting(Gap.MEASURE, X, X, Gait.CANTER, 1), HORSE, S)
