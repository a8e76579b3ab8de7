"""When something was pressed, whatever the phone's clock says."""

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.changeover.phone_clock import LONGEST, in_order, pressed_at
from tests.clock import NOW

AGO = timedelta(minutes=40)
MINUTES = st.integers(-60 * 24 * 30, 60 * 24 * 30)


@pytest.mark.parametrize("wrong_h", [-7, 0, 3, 48])
def test_a_clock_wrong_by_hours_tells_the_right_moment(wrong_h: int) -> None:
    sent = NOW + timedelta(hours=wrong_h)

    assert pressed_at(said=sent - AGO, sent=sent, received=NOW) == NOW - AGO


def test_a_clock_set_back_meanwhile_is_put_right_by_the_count() -> None:
    sent = NOW - timedelta(hours=3)

    found = pressed_at(said=NOW, sent=sent, received=NOW, age=AGO)

    assert found == NOW - AGO


def test_a_phone_that_slept_is_older_than_its_count() -> None:
    asleep = timedelta(minutes=5)

    assert pressed_at(said=NOW - AGO, sent=NOW, received=NOW, age=asleep) == NOW - AGO


def test_nothing_was_pressed_before_phones_stay_silent() -> None:
    long_ago = NOW - timedelta(days=4000)

    assert pressed_at(said=long_ago, sent=NOW, received=NOW) == NOW - LONGEST


@given(MINUTES, MINUTES)
def test_nothing_is_pressed_after_it_was_received(said: int, sent: int) -> None:
    found = pressed_at(
        said=NOW + timedelta(minutes=said),
        sent=NOW + timedelta(minutes=sent),
        received=NOW,
    )

    assert NOW - LONGEST <= found <= NOW


@given(st.lists(st.datetimes(), max_size=6))
def test_presses_keep_their_order(moments: list[datetime]) -> None:
    ordered = in_order(moments)

    assert ordered == sorted(ordered)
    assert all(a >= b for a, b in zip(ordered, moments, strict=True))
