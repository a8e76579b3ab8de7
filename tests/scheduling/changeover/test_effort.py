"""Handling times: the contract's defaults, a school's own, and what is refused."""

import pytest

from exercises.geometry.elements import Piece
from scheduling.changeover.effort import (
    DEFAULT_HANDLING,
    InvalidHandling,
    handling_from,
)


def test_the_defaults_are_the_contracts_table() -> None:
    table = {
        piece.value: (
            times.fetch_us / 1e6,
            times.return_us / 1e6,
            times.lift_us / 1e6,
            times.per_cm_us / 1e4,
        )
        for piece, times in DEFAULT_HANDLING.pieces.items()
    }

    assert table == {
        "wing": (45, 32, 12, 2.0),
        "pole": (28, 20, 8, 1.6),
        "cup": (12, 6, 0, 0),
        "block": (18, 12, 6, 1.5),
        "plank": (28, 20, 8, 1.6),
    }
    assert (DEFAULT_HANDLING.measure_us, DEFAULT_HANDLING.cup_height_us) == (
        30_000_000,
        16_000_000,
    )
    assert (DEFAULT_HANDLING.turn_us, DEFAULT_HANDLING.start_us) == (
        8_000_000,
        60_000_000,
    )


def test_a_schools_own_time_overrides_one_default_only() -> None:
    handling = handling_from({"wing": {"fetch_s": 40.5}, "measure_s": 25})

    assert handling.pieces[Piece.WING].fetch_us == 40_500_000
    assert handling.pieces[Piece.WING].return_us == 32_000_000
    assert handling.measure_us == 25_000_000
    assert handling.start_us == 60_000_000


def test_a_time_for_each_metre_stays_exact_by_the_centimetre() -> None:
    handling = handling_from({"pole": {"per_m_s": 1.6}})

    assert handling.pieces[Piece.POLE].per_cm_us == 16_000


@pytest.mark.parametrize(
    ("given", "place", "says"),
    [
        ({"flag": {}}, "flag", "unknown key"),
        ({"wing": 3}, "wing", "must be an object"),
        ({"wing": {"throw_s": 1}}, "wing.throw_s", "unknown key"),
        ({"wing": {"fetch_s": "4"}}, "wing.fetch_s", "must be a number"),
        ({"start_s": True}, "start_s", "must be a number"),
        ({"start_s": -1}, "start_s", "from 0 to 3600"),
        ({"start_s": 3601}, "start_s", "from 0 to 3600"),
        ({"start_s": float("nan")}, "start_s", "from 0 to 3600"),
        ({"start_s": 0.00001}, "start_s", "at most four decimals"),
    ],
    ids=lambda value: str(value)[:20],
)
def test_a_time_that_is_none_is_refused_with_its_place(
    given: dict, place: str, says: str
) -> None:
    with pytest.raises(InvalidHandling, match=says) as caught:
        handling_from(given)

    assert caught.value.place == place
