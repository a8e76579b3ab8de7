"""Day files by mistake or malice: a plain answer, and no more work than a day is worth.

Through the pure interface and through the command, the only door through which a day
file comes in from outside.
"""

import json
import os
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from scheduling.dayplan import measure
from scheduling.dayplan.document import InvalidDay, read_day
from scheduling.management.commands import order_day as command
from scheduling.solver import solve
from scheduling.solver.model import build_model
from scheduling.solver.problem import Problem
from tests.scheduling.days import arena, cross, day, grid, lesson, ordered, oxer
from tests.scheduling.random_days import clock

Data = dict[str, Any]

CLASHING = day(*(lesson(f"L{n}", "09:00", grid=grid(cross())) for n in range(4)))
TOO_LONG = day(lesson("a", grid=grid(cross(), cross(5000))))
NOBODY = day(lesson("a", grid=grid(cross())), crew=0)
FEW = day(lesson("a", grid=grid(cross(), oxer(600))), stock={"wing": 3})


def run(folder: Path, content: str | bytes, capsys, **options: Any) -> tuple[int, str]:
    """Give the command a file; return its status and what it says."""
    path = folder / "day.json"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    status = 0
    try:
        call_command("order_day", str(path), out=str(folder / "plan.json"), **options)
    except SystemExit as ended:
        status = int(ended.code or 0)
    return status, capsys.readouterr().err


def planned(folder: Path) -> Data:
    return dict(json.loads((folder / "plan.json").read_text()))


@pytest.mark.parametrize(
    ("document", "resets"),
    [(day(), 0), (day(lesson("a")), 0), (day(lesson("a", grid=grid(cross()))), 1)],
    ids=["no-lesson", "one-flat", "one-with-a-grid"],
)
def test_a_day_of_next_to_nothing_is_planned(
    tmp_path: Path, capsys, document: Data, resets: int
) -> None:
    plan = ordered(document)
    assert (plan["status"], len(plan["resets"])) == ("proved", resets)

    status, _ = run(tmp_path, json.dumps(document), capsys)

    assert status == 0
    assert planned(tmp_path)["status"] == "proved"


@pytest.mark.parametrize(
    ("document", "rule", "says"),
    [
        (CLASHING, "one lesson an arena", "L0 and L1 are both in hall at 09:00."),
        (
            TOO_LONG,
            "row fits",
            "The row of a does not keep its approach and run-out on line line-0 of "
            "hall (40.00 m).",
        ),
        (NOBODY, "crew", "1 resets run at 08:55, 0 can be done."),
        (FEW, "stock", "At 08:49 6 wings stand, and the store has 3."),
    ],
    ids=["all-fixed-and-clashing", "row-too-long", "nobody-to-reset", "few-fences"],
)
def test_a_day_nobody_could_keep_says_why_in_words(
    tmp_path: Path, capsys, document: Data, rule: str, says: str
) -> None:
    said = {one["says"]: one["rule"] for one in ordered(document)["broken"]}
    assert said.get(says) == rule, said

    status, _ = run(tmp_path, json.dumps(document), capsys)

    assert status == 3
    assert says in {one["says"] for one in planned(tmp_path)["broken"]}


def text(**changes: Any) -> str:
    return json.dumps(day(lesson("a"), **changes))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("[" * 100_000, "nested too deep"),
        ('{"lessons":' + "[" * 500 + "]" * 500 + "}", "nested too deep"),
        ('{"version":' + "9" * 5000 + "}", "not JSON"),
        (text().replace('"version": 1', '"version": 1e999'), "version: must be 1"),
        (text().replace('"version": 1', '"version": NaN'), "NaN is no number"),
        (text(crew=10**40), "crew: must be less than or equal to 50"),
        (text(zone="Z" * 1_000_000), "zone: "),
        (text(date="2027-03-06\n" * 100_000), "date: "),
        (text(handling={"k" * 100_000: 1}), "handling."),
        (text(**{"k" * 100_000: 1}), "unknown key"),
        (text(arenas="hall"), "arenas: must be a list"),
        (text(lessons={"0": {}}), "lessons: must be a list"),
        (text(crew="1"), "crew: must be a whole number"),
        (text(stock=[1]), "stock: must be an object"),
        (
            text().replace('"version": 1', '"crew": 1, "crew": 2'),
            "is there twice",
        ),
        (text().replace('"id": "a"', '"id": "\\ud800"'), "lessons[0].id: "),
        ("[" + "7," * 1_000_000 + "7]", "more than"),
        ("{" + ",".join(f'"{n}":0' for n in range(700_000)) + "}", "more than"),
        ("null", "must be one JSON object"),
        ("", "not JSON"),
        ("\ufeff{}", "version: is missing"),
    ],
    ids=lambda value: value[:30] if len(value) < 60 else "",
)
def test_a_hostile_file_is_refused_in_one_short_line(
    tmp_path: Path, capsys, content: str, says: str
) -> None:
    status, told = run(tmp_path, content, capsys)

    assert status == 2
    assert says in told
    assert told.count("\n") == 1
    assert len(told) < 400
    assert [one.name for one in tmp_path.iterdir()] == ["day.json"]


def test_a_key_said_twice_in_one_object_is_refused_where_it_is(
    tmp_path: Path, capsys
) -> None:
    """JSON lets the last of two win without a word; half a day would be lost."""
    content = text().replace('"minutes": 60', '"minutes": 30, "minutes": 60')

    assert "'minutes' is there twice" in run(tmp_path, content, capsys)[1]


def test_a_file_without_an_end_is_read_no_further_than_the_largest(
    tmp_path: Path, capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A device or a pipe has no size; only so much of it is read."""
    monkeypatch.setattr(command, "LARGEST_FILE", 5)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    handle = os.open(pipe, os.O_RDWR)
    os.write(handle, b"{}" * 100)

    with pytest.raises(SystemExit):
        call_command("order_day", str(pipe))

    # Had it been read to its end, this would never have come to an end.
    assert "is larger than" in capsys.readouterr().err
    os.close(handle)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"seconds": float("nan")}, "--seconds"),
        ({"seconds": float("inf")}, "--seconds"),
        ({"seconds": -1.0}, "--seconds"),
        ({"seed": -1}, "--seed"),
        ({"seed": 2**31}, "--seed"),
    ],
    ids=str,
)
def test_an_option_out_of_reason_is_refused(
    tmp_path: Path, capsys, options: Data, says: str
) -> None:
    status, told = run(tmp_path, text(), capsys, **options)

    assert status == 2
    assert says in told


@pytest.mark.parametrize(
    ("many", "says"),
    [
        (
            day(*(lesson(f"L{n}") for n in range(1001))),
            "lessons: list should have at most 1000 items after validation, not 1001",
        ),
        (
            day(
                *(lesson(f"L{n}", grid=grid(cross())) for n in range(400)),
                arenas=[arena(lines=20)],
            ),
            "lessons: 400 lessons with rows on 20 lines are more than can be ordered",
        ),
        (
            day(
                *(lesson(f"L{n}", grid=grid(cross())) for n in range(10)),
                arenas=[arena(length_cm=100_000)],
                place_every_cm=1,
            ),
            "place_every_cm: 100000 places on a line are more than can be tried",
        ),
    ],
    ids=["lessons", "lessons-on-lines", "places"],
)
def test_a_day_beyond_all_measure_is_refused_before_any_work(
    many: Data, says: str
) -> None:
    with pytest.raises(InvalidDay) as refused:
        read_day(many)

    assert str(refused.value).startswith(says)


def test_rows_that_differ_have_only_so_many_places_together(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(measure, "MOST_PLACES_OF_ALL", 100)
    one, other = grid(cross()), grid(oxer())
    same = [lesson(f"L{n}", grid=one) for n in range(5)]

    assert read_day(day(*same)).lessons
    with pytest.raises(InvalidDay, match="more places than can be tried"):
        read_day(day(*same, lesson("other", grid=other)))


def test_three_hundred_lessons_are_answered_without_a_model_of_them_all(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """That nothing is found in so little time is said; 90,000 pairs are not modelled.

    Work is counted in resets that a model may choose from, not in seconds.
    """
    sizes: list[int] = []

    def counted(problem: Problem, *given: Any, **more: Any) -> Any:
        sizes.append(len(problem.arc_s))
        return build_model(problem, *given, **more)

    monkeypatch.setattr(solve, "build_model", counted)
    arenas = [arena(f"a{k}") for k in range(4)]
    lessons = [
        lesson(
            f"L{n}",
            start,
            minutes=10,
            arenas=[one["id"] for one in arenas],
            booked={"start": start, "arena": f"a{n % 4}"},
            grid=grid(cross(), oxer(600)) if n % 3 else grid(cross()),
        )
        for n in range(300)
        for start in [clock(8 * 60 + 15 * (n // 4) % 720)]
    ]

    plan = ordered(
        day(*lessons, arenas=arenas, closes="21:00", place_every_cm=500), seconds=0.5
    )

    assert plan["status"] in {"stopped", "impossible"}
    assert plan["status"] == "stopped" or "No plan was found" in said_first(plan)
    assert max(sizes, default=0) < 30_000


def said_first(plan: Data) -> str:
    return str(plan["broken"][0]["says"])
