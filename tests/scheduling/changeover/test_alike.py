"""What two lists have in common, and what a new one has otherwise."""

from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st

from scheduling.changeover.alike import Listed, difference, same_steps, same_work
from tests.clock import at

STEPS = st.lists(st.sampled_from("abcd"), max_size=7)


def listed(gap: str = "g", work: str = "w", steps: str = "abc", **other) -> Listed:
    return Listed(
        gap,
        work,
        tuple(steps),
        other.get("starts_at", at("10:00")),
        other.get("ends_at", at("10:12")),
        other.get("who", "Renske"),
    )


def test_the_same_gap_comes_before_the_same_lesson() -> None:
    old = [listed("one", "pony group"), listed("two", "pony group")]
    new = [listed("two", "pony group"), listed("three", "pony group")]

    assert same_work(old, new) == {0: 1, 1: 0}


def test_other_work_is_nothing_that_was_there() -> None:
    assert same_work([listed("one", "pony group")], [listed("two", "cobs")]) == {}


def test_equal_steps_are_paired_in_turn() -> None:
    assert same_steps("aab", "bxa") == {0: 2, 2: 0}


@given(STEPS, STEPS)
def test_steps_are_paired_with_equal_ones_once_and_as_many_as_can_be(old, new) -> None:
    pairs = same_steps(old, new)

    assert all(old[a] == new[b] for a, b in pairs.items())
    assert len(set(pairs.values())) == len(pairs)
    assert len(pairs) == sum(min(old.count(c), new.count(c)) for c in set(old))


@given(STEPS)
def test_a_changeover_differs_in_nothing_from_itself(steps) -> None:
    one = listed(steps="".join(steps))

    assert not difference(one, one)


def test_another_time_person_and_step_are_told_apart() -> None:
    later = at("10:00") + timedelta(minutes=15)
    new = listed(starts_at=later, ends_at=later, who="Okke", steps="cxa")

    found = difference(listed(), new)

    assert found
    assert (found.moved, found.given) == (True, True)
    assert (found.added, found.dropped, found.turned) == (1, 1, True)
