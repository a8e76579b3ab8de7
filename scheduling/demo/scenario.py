"""The invented school as data."""

import tomllib
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent


def read_scenario() -> dict[str, Any]:
    """Read the invented school, its horses, its people, its Saturday and its week."""
    scenario: dict[str, Any] = {}
    for name in ("school", "horses", "people", "saturday", "week", "history"):
        scenario |= tomllib.loads((FOLDER / f"{name}.toml").read_text("utf-8"))
    return scenario
