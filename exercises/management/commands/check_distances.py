from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from exercises.geometry.published import Check, InvalidPublished, read_checks
from exercises.services import PUBLISHED

HEAD = f"{'what':58} {'published':>13} {'ours':>6} {'off':>6} {'within':>6}  verdict"


class Command(BaseCommand):
    help = (
        "Prints every published distance and count beside the school's own, by "
        "source, with its grade; ends with status 1 if one is missed unexpectedly."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--missed", action="store_true", help="only what is not met"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            checks = read_checks(PUBLISHED)
        except InvalidPublished as error:
            raise CommandError(f"{error}") from error
        shown = [one for one in checks if not (options["missed"] and one.met)]
        source = ""
        for one in shown:
            if one.source != source:
                source = one.source
                self.stdout.write(f"\n{source} (grade {one.grade}; read in {one.read})")
                self.stdout.write(HEAD)
            self.stdout.write(_line(one))
            if one.exception:
                self.stdout.write(f"{'':4}known exception: {one.exception}")
        self._sum_up(checks)

    def _sum_up(self, checks: tuple[Check, ...]) -> None:
        distances = [one for one in checks if one.kind != "pieces"]
        inside = sum(one.difference == 0 for one in distances)
        close = sum(abs(one.difference) <= 0.20 for one in distances)
        known = sum(bool(one.exception) for one in checks)
        wrong = [one for one in checks if not one.as_expected]
        self.stdout.write(
            f"\n{len(checks)} values of {len({one.source for one in checks})} sources: "
            f"{sum(one.met for one in checks)} met, {known} known exceptions, "
            f"{len(wrong)} unexpected."
        )
        self.stdout.write(
            f"Of {len(distances)} distances {inside} lie inside the printed range and "
            f"{close} within 0.20 m of it. The formula was fitted to most of these "
            "tables: this is goodness of fit, not proof. The coach measures and "
            "decides."
        )
        if wrong:
            raise CommandError(
                f"Not as expected: {'; '.join(one.what for one in wrong)}"
            )


def _line(one: Check) -> str:
    counted = one.kind == "pieces"
    low, high = (
        (f"{one.low:.0f}", f"{one.high:.0f}")
        if counted
        else (f"{one.low:.2f}", f"{one.high:.2f}")
    )
    printed = low if low == high else f"{low}-{high}"
    ours = f"{one.ours:.0f}" if counted else f"{one.ours:.2f}"
    verdict = "met" if one.met else "MISSED"
    return (
        f"{one.what:58} {printed:>13} {ours:>6} {one.difference:>+6.2f} "
        f"{one.tolerance:>6.2f}  {verdict}"
    )
