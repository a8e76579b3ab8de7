"""What the import rules cannot see: relations, pure rooms used alone, and lengths."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps

ORDER = ["exercises", "school", "scheduling"]
PURE = [
    "exercises.geometry.fitting",
    "exercises.drawing.side",
    "scheduling.changeover.places",
    "scheduling.dayplan.order",
    "scheduling.finding.best",
    "scheduling.matching.engine",
    "scheduling.solver.solve",
]

ROOT = Path(__file__).parents[1]
MOST_LINES, MOST_OF_A_FUNCTION = 500, 60
# From its first press to its last.
MOST_OF_A_JOURNEY = 120
JOURNEYS = ("tests/browser/", "tests/journeys/")
LONGER = {
    # One compiled loop; parts of it called from outside would be compiled apart.
    "scheduling/changeover/kernels.py:costs_at",
    # Tables: every address, and where it leads.
    "tests/test_sweeps.py",
    "tests/test_sweeps.py:things",
    # Still to be split.
    "tests/benchmarks/large_school.py:_lessons",
    "tests/benchmarks/peer.py:peer",
    "tests/browser/test_reset_list.py",
    "tests/school/services/test_lessons.py",
}
"""What may be longer than the house allows, and why."""


def test_relations_point_downwards() -> None:
    upward = [
        f"{model.__name__}.{field.name}"
        for label in ORDER
        for model in apps.get_app_config(label).get_models()
        for field in model._meta.get_fields()
        if field.is_relation
        and not field.auto_created
        and field.related_model._meta.app_label in ORDER
        and ORDER.index(field.related_model._meta.app_label) > ORDER.index(label)
    ]
    assert upward == []


@pytest.mark.parametrize("module", PURE)
def test_pure_rooms_are_usable_without_django(module: str) -> None:
    code = (
        f"import sys, {module}; "
        "bad = {'django', 'rest_framework', 'celery', 'redis', 'icalendar'}"
        " & set(sys.modules); print(sorted(bad))"
    )

    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )

    assert done.stdout.strip() == "[]"


def too_long(path: Path) -> Iterator[str]:
    name, text = path.relative_to(ROOT).as_posix(), path.read_text()
    most = MOST_OF_A_JOURNEY if name.startswith(JOURNEYS) else MOST_OF_A_FUNCTION
    if text.count("\n") > MOST_LINES:
        yield name
    for one in ast.walk(ast.parse(text)):
        if isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (one.end_lineno or one.lineno) - one.lineno + 1
            if lines > most:
                yield f"{name}:{one.name}"


def test_no_file_and_no_function_is_longer_than_the_house_allows() -> None:
    files = [
        path
        for room in (".ci", "exercises", "school", "scheduling", "tests")
        for path in (ROOT / room).rglob("*.py")
        if not {"migrations", "node_modules"} & set(path.parts)
    ]

    assert len(files) > 300
    assert {one for path in files for one in too_long(path)} <= LONGER
