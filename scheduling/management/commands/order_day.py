"""Orders a day given as a file, without the database."""

import json
import os
import sys
import tempfile
from argparse import ArgumentParser
from collections import Counter
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.order import order_day

LARGEST_FILE = 20_000_000
"""A day file larger than this many bytes is refused unread."""

MOST_VALUES = 600_000
"""More than a day of the largest size holds, each key's and each list's counted."""

DEEPEST = 12
"""Levels of objects and lists; a day file has seven."""

LONGEST_S = 86_400
LARGEST_SEED = 2**31 - 1


class Command(BaseCommand):
    help = "Orders the lessons of a day file so that fences are rebuilt least."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("day", metavar="DAY.json")
        parser.add_argument("--out", metavar="PLAN.json")
        parser.add_argument("--seconds", type=float, default=10.0)
        parser.add_argument("--seed", type=int, default=0)
        parser.add_argument("--as-booked", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self.refuse_options(options["seconds"], options["seed"])
            plan = order_day(
                read_json(Path(options["day"])),
                seconds=options["seconds"],
                seed=options["seed"],
                as_booked=options["as_booked"],
                on_progress=self.tell,
            )
            text = json.dumps(plan, indent=2, ensure_ascii=False) + "\n"
            if options["out"]:
                write_whole(Path(options["out"]), text)
            else:
                self.stdout.write(text, ending="")
        except (InvalidDay, OSError) as error:
            self.stderr.write(str(error).replace("\n", " "))
            sys.exit(2)
        if plan["status"] == "impossible":
            sys.exit(3)

    def refuse_options(self, seconds: float, seed: int) -> None:
        if not 0 < seconds <= LONGEST_S:
            raise InvalidDay("--seconds", f"must be above 0 and at most {LONGEST_S}")
        if not 0 <= seed <= LARGEST_SEED:
            raise InvalidDay("--seed", f"must be from 0 to {LARGEST_SEED}")

    def tell(self, best_s: int, bound_s: int) -> None:
        self.stderr.write(f"best so far {best_s} s, bound {bound_s} s")


def read_json(path: Path) -> object:
    """Read a JSON file, or refuse it in one line."""
    with path.open("rb") as file:
        # A pipe or a device tells no size, so no more is read than is allowed.
        content = file.read(LARGEST_FILE + 1)
    if len(content) > LARGEST_FILE:
        raise InvalidDay("", f"{path} is larger than {LARGEST_FILE // 1_000_000} MB")
    try:
        document = json.loads(
            content, object_pairs_hook=_once, parse_constant=_no_number
        )
    except UnicodeDecodeError as error:
        raise InvalidDay("", f"{path} is not UTF-8 text") from error
    except InvalidDay:
        raise
    except ValueError as error:
        raise InvalidDay("", f"{path} is not JSON: {error}") from error
    except RecursionError as error:
        raise InvalidDay("", f"{path} is nested too deep") from error
    _measured(document)
    return document


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make an object of its keys; JSON itself would let the last of two win."""
    made = dict(pairs)
    if len(made) < len(pairs):
        twice = next(key for key, n in Counter(k for k, _ in pairs).items() if n > 1)
        raise InvalidDay("", f"the key {twice[:60]!r} is there twice in one object")
    return made


def _no_number(written: str) -> None:
    raise ValueError(f"{written} is no number")


def _measured(document: object) -> None:
    """Refuse what no day file holds before every part of it is looked at closely."""
    level, values = [document], 0
    for _ in range(DEEPEST):
        values += len(level)
        inside: list[object] = []
        for one in level:
            if isinstance(one, dict):
                inside.extend(one.values())
            elif isinstance(one, list):
                inside.extend(one)
            if len(inside) + values > MOST_VALUES:
                raise InvalidDay("", f"it holds more than {MOST_VALUES} values")
        if not inside:
            return
        level = inside
    raise InvalidDay("", "it is nested too deep")


def write_whole(path: Path, text: str) -> None:
    """Write a file so that a reader sees the old one or the whole new one."""
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
    Path(part).chmod(0o644)
    Path(part).replace(path)
