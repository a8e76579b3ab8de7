"""Builds an invented school, orders its Saturday, shows it and serves it."""

import json
from argparse import ArgumentParser
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scheduling.demo.build import (
    SATURDAY,
    UnableToDemo,
    book_saturday,
    build_school,
    demo_date,
    plan_saturday,
)
from scheduling.demo.history import log_earlier_lessons
from scheduling.demo.report import as_data, as_text, make_feeds
from scheduling.demo.scenario import read_scenario
from scheduling.demo.week import book_week, keep_ground, note_wishes
from scheduling.models import DayPlan
from school.management.commands.serve import answer_on
from school.models import School
from school.queries.lessons import next_lesson_day
from school.services.messages import deliver_due

MOST_MAILS = 1000


class Command(BaseCommand):
    help = "Builds an invented school, orders its Saturday, shows it and serves it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true")
        parser.add_argument("--json", action="store_true", help="print one JSON object")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--date",
            type=date.fromisoformat,
            help="take this as today (the Saturday is a week or more later)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.SERVED:
            raise CommandError(
                "The demo's people and passwords are no secret: it runs in embedded "
                "mode only (SCHOOL_MODE)."
            )
        answer_on(options["port"])
        call_command("migrate", verbosity=0, interactive=False)
        try:
            school, plan = self.build(options["date"])
        except UnableToDemo as error:
            raise CommandError(str(error)) from error
        now = timezone.now()
        feeds = make_feeds(now)
        if options["json"]:
            data = as_data(school, plan, feeds)
            self.stdout.write(json.dumps(data, indent=2, ensure_ascii=False))
        else:
            self.stdout.write(as_text(school, plan, feeds))
        self.stdout.flush()
        if not options["no_serve"]:
            call_command(
                "serve",
                port=options["port"],
                stdout=self.stderr if options["json"] else self.stdout,
            )

    def build(self, today: date | None) -> tuple[School, DayPlan]:
        """Build what is missing: the school, its bookings, its plan, its mails."""
        scenario = read_scenario()
        zone = ZoneInfo(scenario["zone"])
        now = timezone.now()
        if today is not None:
            now = datetime.combine(today, time(12), tzinfo=zone)
        local = now.astimezone(zone).date()
        school = build_school(scenario, local, now)
        day = demo_date(local)
        booked = next_lesson_day(local, zone)
        if today is None and booked > local and booked.weekday() == SATURDAY:
            # The Saturday that is there already, while it is still to come.
            day = booked
        # A calendar takes the later of two invites, so they are not of one moment.
        before = now - timedelta(hours=1)
        log_earlier_lessons(scenario, day, before)
        book_saturday(scenario, day, before)
        book_week(scenario, day, before)
        keep_ground(scenario, before)
        note_wishes(scenario, before)
        self.say("Booked. Telling the clients, then ordering the day …")
        deliver_due(now=before, limit=MOST_MAILS)
        plan = plan_saturday(day, now)
        # Who was moved is told so: the same entry, changed in place.
        deliver_due(now=now, limit=MOST_MAILS)
        return school, plan

    def say(self, words: str) -> None:
        self.stderr.write(words)
