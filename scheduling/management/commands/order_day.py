"""Orders a day given as a file, without the database."""

import json
import os
import sys
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.order import order_day

LARGEST_FILE = 20_000_000
"""A day file larger than this many bytes is refused unread."""


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

    def tell(self, best_s: int, bound_s: int) -> None:
        self.stderr.write(f"best so far {best_s} s, bound {bound_s} s")


def read_json(path: Path) -> object:
    """Read a JSON file, or refuse it in one line."""
    if path.stat().st_size > LARGEST_FILE:
        raise InvalidDay("", f"{path} is larger than {LARGEST_FILE // 1_000_000} MB")
    try:
        return json.loads(path.read_bytes())
    except UnicodeDecodeError as error:
        raise InvalidDay("", f"{path} is not UTF-8 text") from error
    except ValueError as error:
        raise InvalidDay("", f"{path} is not JSON: {error}") from error
    except RecursionError as error:
        raise InvalidDay("", f"{path} is nested too deep") from error


def write_whole(path: Path, text: str) -> None:
    """Write a file so that a reader sees the old one or the whole new one."""
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
    Path(part).chmod(0o644)
    Path(part).replace(path)
