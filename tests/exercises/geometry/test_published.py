"""What is published, held against what is computed: the same data the command prints.

Sources, grades and what was read of each stand in `exercises/published/`.
"""

from collections import Counter
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from exercises.geometry.published import Check, InvalidPublished, read_checks
from exercises.services import PUBLISHED

CHECKS = read_checks(PUBLISHED)


@pytest.mark.parametrize("one", CHECKS, ids=lambda one: f"{one.file}-{one.what}")
def test_each_value_is_met_or_missed_as_its_reason_says(one: Check) -> None:
    assert one.as_expected, f"{one.ours:.2f} against {one.low} to {one.high}"


def test_there_are_enough_values_of_enough_sources_each_with_its_grade() -> None:
    assert len(CHECKS) >= 200
    assert len({one.source for one in CHECKS}) >= 20
    assert {one.grade for one in CHECKS} <= {"a", "b", "c"}
    assert all(one.read for one in CHECKS)
    assert [one.source for one in CHECKS if one.grade == "b"] == [
        "Common practice, no source"
    ] * 2


def test_every_kind_of_check_is_there() -> None:
    count = Counter(one.kind for one in CHECKS)

    assert count["canter"] >= 60
    assert count["stride"] >= 10
    assert count["pieces"] >= 5
    assert min(count[one] for one in ("trot-in", "bounce", "poles", "in-a-row")) >= 8


def test_few_are_known_exceptions_and_each_says_why() -> None:
    known = [one for one in CHECKS if one.exception]

    assert len(known) <= 0.06 * len(CHECKS)
    assert all(len(one.exception) > 30 for one in known)


def test_three_in_four_distances_lie_close_to_what_is_printed() -> None:
    """Of the rows the formula was fitted to, 188 of 238 lie within 0.20 m."""
    distances = [one for one in CHECKS if one.kind != "pieces"]

    assert sum(abs(one.difference) <= 0.20 for one in distances) >= 0.75 * len(
        distances
    )


def test_the_command_prints_each_with_source_grade_and_difference(capsys) -> None:
    call_command("check_distances")

    printed = capsys.readouterr().out
    assert printed.count(" met\n") + printed.count(" MISSED\n") == len(CHECKS)
    assert "Swedish distance table, competition (grade a; read in a copy" in printed
    assert f"{len(CHECKS)} values of" in printed
    assert "0 unexpected" in printed
    assert "goodness of fit, not proof" in printed


def test_the_command_can_show_only_what_is_missed(capsys) -> None:
    call_command("check_distances", "--missed")

    printed = capsys.readouterr().out
    assert " met\n" not in printed
    assert printed.count("known exception: ") == sum(bool(o.exception) for o in CHECKS)


SOURCE = 'source = "A table"\nread = "its page"\ngrade = "a"\n'


def check(tmp_path: Path, line: str, monkeypatch) -> None:
    (tmp_path / "a-table.toml").write_text(f"{SOURCE}checks = [{line}]\n")
    monkeypatch.setattr(
        "exercises.management.commands.check_distances.PUBLISHED", tmp_path
    )
    call_command("check_distances")


@pytest.mark.parametrize(
    ("more", "low"), [("", 5.0), (', exception = "for no reason"', 6.9)]
)
def test_what_is_not_as_expected_ends_the_command_with_its_name(
    tmp_path: Path, monkeypatch, more: str, low: float
) -> None:
    line = (
        '{ kind = "canter", tradition = "schooling", strides = 1, height_m = 1.65, '
        f"low_m = {low}, high_m = {low}{more} }}"
    )

    with pytest.raises(CommandError, match="Not as expected: 1 stride, canter in"):
        check(tmp_path, line, monkeypatch)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("{ kind = ", r"a-table\.toml: is no TOML"),
        ('{ kind = "hop" }', r"a-table\.toml: checks\.0: .*does not match"),
        (
            '{ kind = "stride", tradition = "schooling", height_m = 16, '
            "low_m = 3.0, high_m = 3.0 }",
            r"a-table\.toml: checks\.0\.stride\.height_m",
        ),
    ],
)
def test_a_broken_file_is_named(
    tmp_path: Path, monkeypatch, line: str, says: str
) -> None:
    with pytest.raises(CommandError, match=says):
        check(tmp_path, line, monkeypatch)
    with pytest.raises(InvalidPublished, match=says):
        read_checks(tmp_path)
