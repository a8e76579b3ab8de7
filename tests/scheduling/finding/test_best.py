"""The best times, lazily: the same as when each is judged to the end."""

from hypothesis import given
from hypothesis import strategies as st

from scheduling.finding.best import Choice, Time, best_times

TIMES = st.builds(
    Time,
    st.integers(0, 3),
    st.integers(16, 24).map(lambda n: 30 * n),
    st.integers(0, 2),
)
POINTS = st.integers(-20, 20)
JUDGED = st.tuples(
    st.one_of(st.none(), POINTS), st.integers(0, 5), st.one_of(st.none(), POINTS)
)
CHOICES = st.builds(
    Choice,
    most=st.integers(1, 6),
    a_day=st.integers(1, 3),
    apart_min=st.sampled_from([0, 60, 90]),
)


def plainly(points: dict[Time, int | None], choice: Choice) -> list[tuple[Time, int]]:
    """Judge every time to the end, sort, and take what the choice allows."""
    best: list[tuple[Time, int]] = []
    able = [(one, time) for time, one in points.items() if one is not None]
    for one, time in sorted(able):
        if len(best) < choice.most and choice.allows(time, [t for t, _ in best]):
            best.append((time, one))
    return best


@given(st.dictionaries(TIMES, JUDGED, max_size=30), CHOICES)
def test_it_finds_what_judging_every_time_finds(judged: dict, choice: Choice) -> None:
    true = {time: end for time, (_, _, end) in judged.items()}

    def first(time: Time) -> int | None:
        start, less, end = judged[time]
        if end is None:
            return start
        return end - less - abs(start or 0)

    def second(time: Time) -> int | None:
        _, less, end = judged[time]
        return end if end is None else end - less

    found = best_times(judged, [first, second, true.get], choice)

    assert list(found.best) == plainly(true, choice)


def test_a_time_that_can_no_longer_be_among_the_best_is_not_judged_further() -> None:
    times = [Time(0, 600, 0), Time(1, 600, 0), Time(2, 600, 0)]
    asked = []

    def exactly(time: Time) -> int:
        asked.append(time.day)
        return 10 * time.day

    found = best_times(times, [lambda time: 10 * time.day, exactly], Choice(most=1))

    assert found.best == ((times[0], 0),)
    assert (asked, found.judged) == ([0], (3, 1))


def test_times_of_one_day_are_few_and_apart() -> None:
    times = [Time(0, 480 + 30 * n, 0) for n in range(6)] + [Time(1, 480, 0)]

    found = best_times(times, [lambda time: 0], Choice(10, 2, 60))

    assert [(one.day, one.start_min) for one, _ in found.best] == [
        (0, 480),
        (0, 540),
        (1, 480),
    ]


def test_no_times_are_no_answer() -> None:
    assert best_times([], [lambda time: 0], Choice()).best == ()
