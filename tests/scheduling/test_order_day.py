"""The command: one plan out, or one line that says what is wrong."""

import json
from pathlib import Path

import pytest
from django.core.management import call_command

from scheduling.management.commands import order_day
from tests.scheduling.days import cross, day, grid, lesson

GOOD = day(lesson("a", grid=grid(cross())))
IMPOSSIBLE = day(lesson("a"), lesson("b", "09:30"))


def written(folder: Path, document: object) -> str:
    path = folder / "day.json"
    path.write_text(json.dumps(document))
    return str(path)


def test_the_plan_goes_to_standard_output(tmp_path: Path, capsys) -> None:
    call_command("order_day", written(tmp_path, GOOD))

    out, err = capsys.readouterr()
    assert json.loads(out)["objective_s"] == 260
    assert "best so far" in err


def test_the_plan_goes_to_a_file_and_nothing_else_is_left(tmp_path: Path) -> None:
    out = tmp_path / "plan.json"

    call_command("order_day", written(tmp_path, GOOD), out=str(out), as_booked=True)

    assert json.loads(out.read_text())["status"] == "proved"
    assert {p.name for p in tmp_path.iterdir()} == {"day.json", "plan.json"}


def test_an_impossible_day_ends_with_three_and_a_best_effort(
    tmp_path: Path, capsys
) -> None:
    with pytest.raises(SystemExit) as caught:
        call_command("order_day", written(tmp_path, IMPOSSIBLE))

    assert caught.value.code == 3
    assert json.loads(capsys.readouterr().out)["broken"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"{", "is not JSON"),
        (b"\xff\xfe{", "is not UTF-8 text"),
        (b"[" * 100_000, "is nested too deep"),
        (b'{"version": 1}', "date: is missing"),
    ],
    ids=["broken", "not-utf8", "deep", "short"],
)
def test_a_refusal_is_one_line_and_writes_nothing(
    tmp_path: Path, capsys, content: bytes, says: str
) -> None:
    path, out = tmp_path / "day.json", tmp_path / "plan.json"
    path.write_bytes(content)

    with pytest.raises(SystemExit) as caught:
        call_command("order_day", str(path), out=str(out))

    err = capsys.readouterr().err
    assert caught.value.code == 2
    assert says in err
    assert err.count("\n") == 1
    assert not out.exists()


def test_a_file_that_is_not_there_or_too_large_is_refused(
    tmp_path: Path, capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(SystemExit):
        call_command("order_day", str(tmp_path / "none.json"))
    monkeypatch.setattr(order_day, "LARGEST_FILE", 3)
    with pytest.raises(SystemExit):
        call_command("order_day", written(tmp_path, GOOD))

    err = capsys.readouterr().err
    assert "No such file" in err
    assert "is larger than" in err
