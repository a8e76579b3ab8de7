"""What the import rules cannot see: relations, and pure rooms used alone."""

import subprocess
import sys

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
