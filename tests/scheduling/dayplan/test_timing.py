"""Whether resets find their minutes: judged by trying every start."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.dayplan import timing
from scheduling.dayplan.timing import Job, TooManyTries, time_resets

windows = st.lists(
    st.tuples(st.integers(0, 10), st.integers(1, 6)).map(lambda w: (w[0], w[0] + w[1])),
    min_size=1,
    max_size=2,
).map(lambda its: tuple(sorted(its)))
jobs = st.lists(st.builds(Job, st.integers(1, 4), windows), max_size=4)


def by_trying(given_jobs: list[Job], crew: int) -> bool:
    options = [
        [
            at
            for at in range(20)
            if any(a <= at and at + job.minutes <= b for a, b in job.windows)
        ]
        for job in given_jobs
    ]
    return any(
        all(
            sum(
                s <= at < s + job.minutes
                for s, job in zip(starts, given_jobs, strict=True)
            )
            <= crew
            for at in range(20)
        )
        for starts in product(*options)
    )


@given(jobs, st.integers(0, 2))
def test_a_start_is_found_for_each_exactly_where_there_is_one(
    given_jobs: list[Job], crew: int
) -> None:
    starts = time_resets(given_jobs, crew)

    assert (starts is not None) == by_trying(given_jobs, crew)
    for start, job in zip(starts or (), given_jobs if starts else (), strict=True):
        assert any(a <= start and start + job.minutes <= b for a, b in job.windows)


def test_a_reset_without_a_window_is_never_timed() -> None:
    assert time_resets([Job(5, ())], 1) is None


@pytest.mark.parametrize("crew", [1, 2])
def test_more_than_a_window_holds_is_not_timed(crew: int) -> None:
    like = [Job(3, ((0, 7),))] * (2 * crew)

    assert time_resets(like, crew) is not None
    assert (
        time_resets([*like, *[Job(1, ((0, 7),)), Job(2, ((3, 8),))] * crew], crew)
        is None
    )


def test_beyond_the_tries_nothing_is_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timing, "MOST_TRIES", 1)

    with pytest.raises(TooManyTries):
        time_resets([Job(5, ((0, 20),)), Job(5, ((0, 20),))], 1)
