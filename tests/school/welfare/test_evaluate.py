"""The rules of a horse's work over numbers, each with the source of its figure."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from school.welfare.evaluate import (
    SCHOOLS_OWN,
    Asked,
    Hit,
    OwnLimits,
    Stint,
    figures,
    heat_sum,
    hits,
    work_minutes,
)
from school.welfare.rules import RULE, RULES, Bounds, House, Rule
from school.welfare.words import hit_words, number

DAY_MIN = 24 * 60
HOUSE = House({})


def stint(clock: float, minutes: int = 60, day: int = 20, **more) -> Stint:
    start = day * DAY_MIN + int(clock * 60)
    return Stint(start, start + minutes, day, **more)


def broken(asked: Asked, house: House = HOUSE) -> dict[str, tuple[float, bool]]:
    return {one.rule: (one.figure, one.refuses) for one in hits(asked, house)}


def test_one_lesson_of_a_fresh_horse_breaks_nothing() -> None:
    assert hits(Asked(stint(9)), HOUSE) == ()


def test_short_waits_are_work_and_long_ones_are_rest() -> None:
    """Changeovers in the ring count as work (Certified Horsemanship Association,
    workloads, as read: grade a); up to how long is the tool's own estimate."""
    day = [stint(9, 45), stint(10, 45), stint(11.25, 45)]

    assert work_minutes(day, 15) == 45 + 15 + 45 + 45
    assert work_minutes(day, 30) == 45 + 15 + 45 + 30 + 45
    assert work_minutes(day, 0) == 135
    assert work_minutes([], 15) == 0


def test_the_fourth_hour_is_refused_though_it_is_only_the_third_lesson() -> None:
    """The limit is minutes, not lessons: three lessons of 65 minutes and the waits
    between them are more than three hours (the tool's own limit)."""
    asked = Asked(stint(9, 65), [stint(10.25, 60), stint(11.5, 60)])

    assert broken(asked)["minutes-day"] == (65 + 10 + 60 + 15 + 60, True)
    assert "lessons-day" not in broken(asked)


@pytest.mark.parametrize(
    ("rider", "jumping", "found"),
    [
        (50, False, {}),  # 60 of 400 kg are 15 %
        (51, False, {"weight": (15.3, False)}),
        (70, False, {"weight": (20.0, False)}),
        (71, False, {"weight": (20.3, True)}),
        (40, True, {}),
        (41, True, {"weight-jumping": (12.8, False)}),
        (71, True, {"weight-jumping": (20.3, True)}),
    ],
)
def test_the_rider_counts_dressed_and_with_the_saddle(
    rider: int, jumping: bool, found: dict
) -> None:
    """Sound at 10 to 15 %, pain signs from 15 on (pilot study, abstract, a), no
    difference up to 20 % (Ohio State, 2008, a); the limits are the tool's own."""
    asked = Asked(stint(9, jumping=jumping), horse_kg=400, rider_kg=rider)

    assert broken(asked) == found


def test_a_hair_over_a_limit_is_over_it_and_shown_so() -> None:
    """81 of 404 kg are 20.05 %; 101 of 505 are 20 exactly."""
    over = Asked(stint(9), horse_kg=404, rider_kg=71)
    at_it = Asked(stint(9), horse_kg=505, rider_kg=91)

    assert broken(over)["weight"] == (20.1, True)
    assert broken(at_it)["weight"] == (20.0, False)


def test_rest_is_from_the_nearest_lesson_and_the_horses_own_refuses() -> None:
    asked = Asked(stint(9), [stint(10.25)])
    assert broken(asked)["rest"] == (15, False)

    strict = Asked(stint(9), [stint(10.25)], OwnLimits(rest_min=20))
    (rest,) = [one for one in hits(strict, HOUSE) if one.rule == "rest"]
    assert (rest.limit, rest.refuses, rest.source) == (
        20,
        True,
        "the horse's own limit",
    )


def test_a_schools_limit_stands_where_it_is_stricter_than_the_horses() -> None:
    house = House({"rest": Bounds(60, 45)})
    asked = Asked(stint(9), [stint(10.25)], OwnLimits(rest_min=20))

    (rest,) = [one for one in hits(asked, house) if one.rule == "rest"]

    assert (rest.limit, rest.source) == (45, SCHOOLS_OWN)


def test_two_in_a_row_may_be_three_may_not() -> None:
    two = Asked(stint(9, 30), [stint(9.5, 30)])
    assert "in-a-row" not in broken(two)

    three = Asked(stint(9, 30), [stint(9.5, 30), stint(8.5, 30), stint(14, 30)])
    assert broken(three)["in-a-row"] == (3, True)

    apart = Asked(stint(9, 30), [stint(8, 30), stint(10.25, 30), stint(10.75, 30)])
    assert "in-a-row" not in broken(apart, House({"in-a-row": Bounds(None, 1)}))


def test_without_a_rest_of_the_schools_half_an_hour_parts_lessons() -> None:
    house = House({"rest": Bounds(None, None), "in-a-row": Bounds(None, 1)})

    assert broken(Asked(stint(9), [stint(10.25)]), house)["in-a-row"] == (2, True)
    assert "in-a-row" not in broken(Asked(stint(9), [stint(10.5)]), house)


def test_six_days_running_may_be_seven_may_not() -> None:
    """At most six days running (Bermuda, rules of 2005, as reported: a)."""
    six = [stint(9, 30, day=20 + n) for n in (-2, -1, 1, 2, 3)]
    assert "days-in-a-row" not in broken(Asked(stint(9, 30), six))

    seven = [*six, stint(9, 30, day=24)]
    assert broken(Asked(stint(9, 30), seven))["days-in-a-row"] == (7, True)


def test_a_week_is_any_seven_days_that_hold_the_day() -> None:
    others = [stint(9, 170, day=20 + n) for n in (-6, -5, -4, -3, -1)]
    far = stint(9, 170, day=13)

    found = broken(Asked(stint(9, 30), [*others, far]))

    assert found["minutes-week"] == (5 * 170 + 30, False)
    assert broken(Asked(stint(9, 60), others))["minutes-week"] == (910, True)


def test_jumping_is_counted_by_lessons_days_and_days_in_a_row() -> None:
    """One, at most two real sessions a week: custom of the trade, no study (b)."""

    def jumped(clock: float, day: int = 20) -> Stint:
        return stint(clock, 30, day, jumping=True)

    twice = Asked(jumped(9), [jumped(15)])
    assert broken(twice)["jumping-day"] == (2, False)

    week = Asked(jumped(9), [jumped(9, 22), jumped(9, 24), jumped(9, 26)])
    assert broken(week)["jumping-week"] == (4, True)
    assert "jumping-running" not in broken(week)

    running = Asked(jumped(9), [jumped(9, 19), jumped(9, 21)])
    assert broken(running)["jumping-running"] == (3, True)
    assert "jumping-week" not in broken(Asked(stint(9, 30), week.others))


def test_efforts_have_a_stricter_limit_over_higher_fences() -> None:
    """A grid of three fences ridden six times after six warm-up jumps is 24, within
    the forty that the tool allows up to 70 cm and over its warning above."""
    efforts = {"jumping": True, "quarter_efforts": 4 * 24}

    assert broken(Asked(stint(9, **efforts, highest_cm=70))) == {}
    assert broken(Asked(stint(9, **efforts, highest_cm=75))) == {
        "efforts-high": (24, False)
    }
    both = Asked(stint(9, **efforts), [stint(15, **efforts)])
    assert broken(both)["efforts"] == (48, True)


def test_a_horse_too_young_or_old_to_jump_is_warned_of() -> None:
    """Grids from five: from memory (c). Less from sixteen on: custom (b)."""
    for years, rule in ((4, "young-jumping"), (18, "old-jumping")):
        assert broken(Asked(stint(9, jumping=True), years=years)) == {
            rule: (years, False)
        }
        assert broken(Asked(stint(9), years=years)) == {}


@pytest.mark.parametrize(
    ("celsius", "humidity", "found"),
    [
        (25, 50, {}),
        (32, 60, {}),  # 149.6
        (32, 61, {"heat": (151, False)}),
        (35, 85, {"heat": (180, False)}),  # just 180
        (33, 89, {"heat": (181, True)}),  # 180.4: a hair over it
        (35, 86, {"heat": (181, True)}),
        (-7, 99, {}),
    ],
)
def test_heat_is_fahrenheit_and_humidity_added_up(
    celsius: int, humidity: int, found: dict
) -> None:
    """Over 180 extreme caution (eXtension, 2006, a); 180 is 35 °C with 85 %, 150 is
    32 °C with 60 % (arithmetic)."""
    assert broken(Asked(stint(9), heat=heat_sum(celsius, humidity))) == found


def test_a_day_off_is_kept_free() -> None:
    (hit,) = hits(Asked(stint(9), day_off=True), HOUSE)

    assert (hit.rule, hit.refuses, hit.source) == ("day-off", True, SCHOOLS_OWN)
    assert hit_words(hit, "Monday") == "has Monday off (the school's own)"


def test_a_hit_says_rule_figure_limit_and_source() -> None:
    (usual,) = hits(Asked(stint(9, 130)), HOUSE)
    assert hit_words(usual, "Saturday") == (
        "would work 130 minutes on Saturday, short waits counted; better at most "
        "120 (between Swiss schools' two hours and a ceiling of six; the tool's own "
        "estimate)"
    )

    (own,) = hits(Asked(stint(9, 130)), House({"minutes-day": Bounds(None, 125)}))
    assert hit_words(own, "Saturday").endswith("at most 125 (the school's own)")

    weight = Hit("weight", 20.2, 20, True, SCHOOLS_OWN)
    assert hit_words(weight, "Monday") == (
        "would carry 20.2 % of its weight; at most 20 % (the school's own)"
    )


def test_a_warning_says_better_and_a_refusal_does_not() -> None:
    rest = Hit("rest", 20, 30, False, SCHOOLS_OWN)
    assert hit_words(rest, "Monday") == (
        "would rest 20 minutes between two lessons; better at least 30 (the school's "
        "own)"
    )
    refused = replace(rest, refuses=True)
    assert "; at least 30" in hit_words(refused, "Monday")


@pytest.mark.parametrize("rule", RULES, ids=lambda one: one.name)
def test_a_figure_just_at_its_limit_is_kept_and_one_beyond_is_not(rule: Rule) -> None:
    beyond = -1 if rule.at_least else 1
    for limit in (rule.usual.warn, rule.usual.refuse):
        if limit is not None:
            assert not rule.broken(limit, limit)
            assert rule.broken(limit + beyond, limit)


def test_figures_are_written_without_needless_decimals() -> None:
    assert [number(one) for one in (12.5, 20.0, 6.25, 0)] == ["12.5", "20", "6.25", "0"]


def test_every_usual_figure_lies_in_its_range_and_warns_before_it_refuses() -> None:
    for rule in RULES:
        for bound in (rule.usual.warn, rule.usual.refuse):
            assert bound is None or rule.low <= bound <= rule.high, rule.name
        if rule.usual.warn is not None and rule.usual.refuse is not None:
            assert not rule.broken(rule.usual.warn, rule.usual.refuse), rule.name
        assert rule.source
        assert rule.says_who
    assert not RULE["rest"].broken(30, None)


def judge_minutes(stints: list[Stint], tacked: int) -> int:
    """Count minute by minute: in a lesson, or in a wait short enough."""
    busy = {at for one in stints for at in range(one.start, one.end)}
    ordered = sorted(stints, key=lambda one: one.start)
    for one, after in pairwise(ordered):
        if after.start - one.end <= tacked:
            busy |= set(range(one.end, after.start))
    return len(busy)


days = st.lists(
    st.tuples(st.integers(0, 40), st.integers(10, 90)), max_size=6
).map(
    lambda pairs: [
        Stint(start, start + length, 20)
        for start, length in (
            (sum(gap + size for gap, size in pairs[:at]) + pairs[at][0], pairs[at][1])
            for at in range(len(pairs))
        )
    ]
)  # fmt: skip


@given(days, st.integers(0, 40))
def test_minutes_of_work_are_those_counted_one_by_one(
    stints: list[Stint], tacked: int
) -> None:
    assert work_minutes(stints, tacked) == judge_minutes(stints, tacked)


@given(days.filter(bool), st.integers(0, 200), st.integers(0, 200))
def test_a_stricter_limit_never_lets_more_pass(
    stints: list[Stint], low: int, high: int
) -> None:
    low, high = sorted((low, high))
    asked = Asked(stints[0], stints[1:])

    strict = broken(asked, House({"minutes-day": Bounds(None, low)}))
    mild = broken(asked, House({"minutes-day": Bounds(None, high)}))

    assert ("minutes-day" in strict) >= ("minutes-day" in mild)


@given(days.filter(bool))
def test_no_hit_is_without_its_figure_beyond_its_limit(stints: list[Stint]) -> None:
    asked = Asked(stints[0], stints[1:], OwnLimits(30, 2, 90))
    known = dict(figures(asked, HOUSE))

    for one in hits(asked, HOUSE):
        assert RULE[one.rule].broken(one.figure, one.limit)
        assert known[one.rule] == one.figure
