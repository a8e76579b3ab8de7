"""Hard rules of resets, standing rows and the store, each told anew.

Of each rule two things are tried on random crowded days: the plan found keeps it, as
it is told here and not by the judge; and where the day is made a little stricter, or
the plan a little worse, so that this rule alone is broken, the judge refuses it by
that name.

| rule of the day file | test (`test_` before it) |
|---|---|
| after a lesson, less `cool_down_min` | `no_reset_begins_in_the_lesson_before`, … |
| before its own, plus `warm_up_min` | `no_reset_ends_after_its_lessons_warm_up`, … |
| while nobody rides there | `no_reset_is_made_while_the_arena_is_ridden`, … |
| `crew_from`, `crew_to` | `every_reset_lies_in_the_crews_hours`, … |
| `crew` | `no_more_resets_at_once_than_the_crew_can_do`, … |
| seconds rounded up to whole minutes | `every_reset_takes_its_whole_minutes`, … |
| the lesson finds its row | `every_lesson_finds_its_row_standing`, … |
| `needs_clear` | `a_lesson_that_needs_it_finds_its_arena_clear`, … |
| `stock` | `no_more_stands_than_the_store_has`, … |

The tests of a refusal stand right after the test that a plan keeps the rule. That a
reset may lie in an earlier gap of its arena is `test_order`'s to show.
"""

from collections import Counter
from collections.abc import Iterator

from hypothesis import assume, given
from hypothesis import strategies as st

from tests.scheduling.dayplan.crowded_days import (
    Data,
    lessons_of,
    line_lengths,
    minutes,
    planned_days,
    resummed,
    rules_broken,
    span,
    with_guest,
)
from tests.scheduling.days import ordered
from tests.scheduling.random_days import clock

Planned = tuple[Data, Data]
Line = tuple[str, str]


def times(reset: Data) -> tuple[int, int]:
    return minutes(reset["from"]), minutes(reset["to"])


def line_of(one: Data) -> Line:
    return one["arena"], one["line"]


def resets_with_lessons(
    document: Data, plan: Data
) -> Iterator[tuple[Data, tuple[Data, Data]]]:
    lessons = {said["id"]: (asked, said) for asked, said in lessons_of(document, plan)}
    for reset in plan["resets"]:
        yield reset, lessons[reset["for"]]


def lesson_before(document: Data, plan: Data, reset: Data) -> tuple[Data, Data] | None:
    """The lesson that last had a reset's arena before the reset was made."""
    its = [
        (asked, said)
        for asked, said in lessons_of(document, plan)
        if said["arena"] == reset["arena"]
        and span(asked, said)[1] - asked["cool_down_min"] <= times(reset)[0]
    ]
    return max(its, key=lambda one: span(*one), default=None)


def others_on_its_line(plan: Data, reset: Data) -> list[tuple[int, int]]:
    return [
        times(one)
        for one in plan["resets"]
        if one is not reset and line_of(one) == line_of(reset)
    ]


def ridden(document: Data, plan: Data, reset: Data) -> Iterator[tuple[int, int]]:
    """When other lessons than its own have a reset's arena to themselves."""
    for asked, said in lessons_of(document, plan):
        if said["arena"] == reset["arena"] and said["id"] != reset["for"]:
            begins, ends = span(asked, said)
            yield begins, ends - asked["cool_down_min"]


@given(planned_days())
def test_no_reset_begins_in_the_lesson_before(planned: Planned) -> None:
    document, plan = planned
    for reset in plan["resets"]:
        for begins, free in ridden(document, plan, reset):
            assert times(reset)[0] >= free or times(reset)[0] < begins


@given(planned_days(), st.integers(0, 10))
def test_a_reset_begun_in_the_lesson_before_is_refused(
    planned: Planned, which: int
) -> None:
    document, plan = planned
    document["crew"], document["stock"] = 50, {}
    tried = []
    for reset in plan["resets"]:
        before = lesson_before(document, plan, reset)
        if before is None:
            continue
        asked, said = before
        begins = span(asked, said)[1] - asked["cool_down_min"] - 1
        free = all(
            ends <= begins or since >= times(reset)[1]
            for since, ends in others_on_its_line(plan, reset)
        )
        if free and begins >= minutes(document["crew_from"]):
            tried.append((reset, begins))
    assume(tried)
    reset, begins = tried[which % len(tried)]
    lasts = times(reset)[1] - times(reset)[0]
    reset |= {"from": clock(begins), "to": clock(begins + lasts)}

    assert rules_broken(document, plan) == {"arena ridden"}


@given(planned_days())
def test_no_reset_ends_after_its_lessons_warm_up(planned: Planned) -> None:
    document, plan = planned
    for reset, (asked, said) in resets_with_lessons(document, plan):
        late = 0 if asked.get("needs_clear") else asked["warm_up_min"]
        assert times(reset)[1] <= minutes(said["start"]) + late


@given(planned_days(), st.integers(0, 10))
def test_a_reset_that_ends_after_its_lessons_warm_up_is_refused(
    planned: Planned, which: int
) -> None:
    document, plan = planned
    document["crew"], document["crew_to"], document["stock"] = 50, "24:00", {}
    assume(plan["resets"])
    both = list(resets_with_lessons(document, plan))
    reset, (asked, said) = both[which % len(both)]
    ends = minutes(said["start"]) + asked["warm_up_min"] + 1
    lasts = times(reset)[1] - times(reset)[0]
    reset |= {"from": clock(ends - lasts), "to": clock(ends)}

    # In another arena it has nothing to end before but what comes there.
    assume(said["arena"] == reset["arena"])
    # Its lesson finds no row then, or no clear arena; that is told too.
    assert "arena ridden" in rules_broken(document, plan)


@given(planned_days())
def test_no_reset_is_made_while_the_arena_is_ridden(planned: Planned) -> None:
    document, plan = planned
    for reset in plan["resets"]:
        begins, ends = times(reset)
        for since, until in ridden(document, plan, reset):
            assert ends <= since or begins >= until


@given(planned_days(), st.integers(0, 10))
def test_a_reset_while_another_lesson_has_the_arena_is_refused(
    planned: Planned, which: int
) -> None:
    document, plan = planned
    alone = [
        (reset["arena"], at)
        for reset in plan["resets"]
        for at in range(*times(reset))
        if minutes(document["opens"]) <= at < minutes(document["closes"])
        and not any(
            said["arena"] == reset["arena"]
            and span(asked, said)[0] <= at < span(asked, said)[1]
            for asked, said in lessons_of(document, plan)
        )
    ]
    assume(alone)
    where, at = alone[which * 7 % len(alone)]
    with_guest(document, plan, start=clock(at), arena=where)
    document["lessons"][-1]["warm_up_min"] = 1

    assert rules_broken(document, plan) == {"arena ridden"}


@given(planned_days())
def test_every_reset_lies_in_the_crews_hours(planned: Planned) -> None:
    document, plan = planned
    for reset in plan["resets"]:
        begins, ends = times(reset)
        assert minutes(document["crew_from"]) <= begins
        assert ends <= minutes(document["crew_to"])


@given(planned_days(), st.booleans())
def test_a_reset_out_of_the_crews_hours_is_refused(
    planned: Planned, early: bool
) -> None:
    document, plan = planned
    assume(plan["resets"])
    if early:
        document["crew_from"] = clock(min(times(one)[0] for one in plan["resets"]) + 1)
    else:
        document["crew_to"] = clock(max(times(one)[1] for one in plan["resets"]) - 1)

    assert rules_broken(document, plan) == {"crew's hours"}


def most_at_once(plan: Data) -> int:
    running: Counter[int] = Counter()
    for reset in plan["resets"]:
        running.update(range(*times(reset)))
    return max(running.values(), default=0)


@given(planned_days())
def test_no_more_resets_at_once_than_the_crew_can_do(planned: Planned) -> None:
    document, plan = planned

    assert most_at_once(plan) <= document["crew"]


@given(planned_days())
def test_more_resets_at_once_than_the_crew_can_do_are_refused(planned: Planned) -> None:
    document, plan = planned
    assume(plan["resets"])
    document["crew"] = most_at_once(plan) - 1

    assert rules_broken(document, plan) == {"crew"}


@given(planned_days())
def test_every_reset_takes_its_whole_minutes(planned: Planned) -> None:
    _, plan = planned
    for reset in plan["resets"]:
        begins, ends = times(reset)
        assert 60 * (ends - begins - 1) < reset["seconds"] <= 60 * (ends - begins)


@given(planned_days(), st.integers(0, 10))
def test_a_reset_with_a_minute_too_few_is_refused(planned: Planned, which: int) -> None:
    _, plan = planned
    assume(plan["resets"])
    reset = plan["resets"][which % len(plan["resets"])]
    reset["to"] = clock(times(reset)[1] - 1)

    assert rules_broken(*planned) == {"length"}


def seen(one: Data) -> tuple[object, ...]:
    """What tells one standing element from another, for who walks past it."""
    before = one.get("ground_line") == "take-off"
    sided = before or one.get("ascending") or one.get("guides")
    return (
        one["kind"],
        one["at_cm"],
        one.get("height_cm", 0),
        one.get("spread_cm", 0),
        rails(one),
        one.get("ground_line", "none"),
        one.get("guides", False),
        one.get("ascending", False),
        one.get("faces", "up") if sided else None,
    )


def rails(one: Data) -> int:
    if one["kind"] not in {"vertical", "oxer"}:
        return 0
    height = one["height_cm"]
    return int(one.get("rails") or (1 if height <= 60 else 2 if height <= 100 else 3))


def laid(elements: list[Data], asked: Data, said: Data) -> list[Data]:
    """Where a row's elements stand on their line, by the contract's two formulas."""
    start = asked["grid"]["start"]
    row = max(one["at_cm"] + one.get("spread_cm", 0) for one in start)
    offset, stand = said["offset_cm"], []
    for one in elements:
        at, faces = offset + one["at_cm"], "up"
        if said["mirrored"]:
            at = offset + row - one["at_cm"] - one.get("spread_cm", 0)
            faces = "down"
        stand.append(one | {"at_cm": at, "faces": faces})
    return stand


def stands_when(document: Data, plan: Data, line: Line, at: int) -> list[Data]:
    """What stands on a line at a minute, by what was built and ridden until then."""
    standing: list[Data] = next(
        one.get("standing", [])
        for arena in document["arenas"]
        for one in arena["lines"]
        if (arena["id"], one["id"]) == line
    )
    done: list[tuple[int, int, list[Data]]] = []
    for reset in plan["resets"]:
        if line_of(reset) == line and times(reset)[1] <= at:
            now = [move["now"] for move in reset["moves"] if move["now"]]
            done.append((times(reset)[1], 0, now))
    for asked, said in lessons_of(document, plan):
        ends = span(asked, said)[1] - asked["cool_down_min"]
        if asked.get("grid") and line_of(said) == line and ends <= at:
            done.append((ends, -1, laid(asked["grid"]["end"], asked, said)))
    return max(done, key=lambda one: one[:2])[2] if done else standing


def same(one: list[Data], other: list[Data]) -> bool:
    return Counter(map(seen, one)) == Counter(map(seen, other))


@given(planned_days())
def test_every_lesson_finds_its_row_standing(planned: Planned) -> None:
    document, plan = planned
    for asked, said in lessons_of(document, plan):
        if asked.get("grid"):
            at = minutes(said["start"]) + asked["warm_up_min"]
            wanted = laid(asked["grid"]["start"], asked, said)
            assert same(stands_when(document, plan, line_of(said), at), wanted)


@given(planned_days(), st.integers(0, 10))
def test_a_lesson_that_does_not_find_its_row_is_refused(
    planned: Planned, which: int
) -> None:
    document, plan = planned
    document["stock"] = {}
    its = [
        reset
        for reset, (asked, said) in resets_with_lessons(document, plan)
        if asked.get("grid") and line_of(said) == line_of(reset)
    ]
    assume(its)
    gone = its[which % len(its)]
    plan["resets"].remove(gone)
    resummed(plan, gone["seconds"])

    assert rules_broken(document, plan) == {"row stands"}


@given(planned_days())
def test_a_lesson_that_needs_it_finds_its_arena_clear(planned: Planned) -> None:
    document, plan = planned
    for asked, said in lessons_of(document, plan):
        for line in line_lengths(document):
            if asked.get("needs_clear") and line[0] == said["arena"]:
                at = minutes(said["start"])
                assert stands_when(document, plan, line, at) == []


@given(planned_days())
def test_a_lesson_that_does_not_find_its_arena_clear_is_refused(
    planned: Planned,
) -> None:
    document, plan = planned
    document["stock"] = {}
    clearing = [
        reset
        for reset, (asked, _) in resets_with_lessons(document, plan)
        if asked.get("needs_clear")
    ]
    assume(clearing)
    plan["resets"].remove(clearing[0])
    resummed(plan, clearing[0]["seconds"])

    assert rules_broken(document, plan) == {"clear arena"}


def pieces(elements: list[Data]) -> Counter[str]:
    """Pieces of elements, by the contract's table."""
    count: Counter[str] = Counter()
    for one in elements:
        kind, bars = one["kind"], rails(one)
        bars += kind == "oxer"
        count["wing"] += {"cross": 2, "vertical": 2, "oxer": 4}.get(kind, 0)
        count["pole"] += {"pole": 1, "raised-pole": 1, "cross": 2}.get(kind, bars)
        count["cup"] += 2 if kind == "cross" else 2 * bars
        count["block"] += 2 * (kind == "raised-pole")
        count["plank"] += kind == "plank"
        count["pole"] += {"take-off": 1, "both": 2}.get(one.get("ground_line", ""), 0)
        count["pole"] += 2 * bool(one.get("guides"))
    return count


def most_standing(document: Data, plan: Data) -> Counter[str]:
    """The most of each kind of piece that is out of the store at any minute.

    While a line is reset what stood and what is built are both in hand; while a
    lesson rides what it began with and what it ends with are.
    """
    changes = {at for reset in plan["resets"] for at in times(reset)}
    for asked, said in lessons_of(document, plan):
        begins, ends = span(asked, said)
        changes |= {begins, ends - asked["cool_down_min"], ends}
    most: Counter[str] = Counter()
    for at in {0, *changes}:
        out: Counter[str] = Counter()
        for line in line_lengths(document):
            its = pieces(stands_when(document, plan, line, at))
            for reset in plan["resets"]:
                begins, ends = times(reset)
                if line_of(reset) == line and begins <= at < ends:
                    its |= pieces([m["now"] for m in reset["moves"] if m["now"]])
            for asked, said in lessons_of(document, plan):
                begins, ends = span(asked, said)
                # Once it cools down the row may go; until then it stands as it ends.
                ends -= asked["cool_down_min"]
                if asked.get("grid") and line_of(said) == line and begins <= at < ends:
                    its |= pieces(asked["grid"]["end"])
            out += its
        most |= out
    return most


@given(planned_days(), st.sampled_from(["wing", "pole", "cup"]), st.integers(0, 2))
def test_no_more_stands_than_the_store_has(
    planned: Planned, piece: str, fewer: int
) -> None:
    """With fewer than the plan used, another plan must do with what there is."""
    document, plan = planned
    owned = max(0, most_standing(document, plan)[piece] - fewer)
    document["stock"] = {piece: owned}

    again = ordered(document)

    if again["status"] != "impossible":
        assert most_standing(document, again)[piece] <= owned


@given(planned_days(), st.sampled_from(["wing", "pole", "cup", "block", "plank"]))
def test_more_than_the_store_has_is_refused(planned: Planned, piece: str) -> None:
    document, plan = planned
    most = most_standing(document, plan)[piece]
    assume(most)
    document["stock"] = {piece: most - 1}

    assert rules_broken(document, plan) == {"stock"}
