"""What the demo shows: the numbers, the order, the list, the ways in."""

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

from scheduling.demo.build import demo_password, demo_token
from scheduling.models import Changeover, DayPlan, PlannedLesson
from scheduling.queries.changeovers import changeovers_of_day
from scheduling.wording import changeover_words, duration_words
from school.enums import FeedKind, Role
from school.models import (
    Account,
    Arena,
    Client,
    Groundsperson,
    Horse,
    Instructor,
    Person,
    School,
)
from school.services.feeds import make_feed


@dataclass(frozen=True, slots=True)
class Login:
    """A way in for one role."""

    role: str
    username: str
    password: str


@dataclass(frozen=True, slots=True)
class Feed:
    """A calendar's address."""

    holder: str
    kind: str
    url: str


def logins() -> list[Login]:
    """Return one sign-in for each role."""
    holders = {
        Role.MANAGER: Account.objects.filter(is_manager=True),
        Role.INSTRUCTOR: Account.objects.filter(person__instructor__isnull=False),
        Role.GROUNDSPERSON: Account.objects.filter(person__groundsperson__isnull=False),
        Role.CLIENT: Account.objects.filter(person__client__isnull=False),
    }
    found = [
        (role, accounts.order_by("pk").first()) for role, accounts in holders.items()
    ]
    return [
        Login(role.value, one.username, demo_password(one.username))
        for role, one in found
        if one is not None
    ]


def make_feeds(now: datetime) -> list[Feed]:
    """Make the feeds of the staff and arenas, and of one horse and one client."""
    holders: list[tuple[FeedKind, Person | Horse | Arena]] = [
        (FeedKind.GROUNDSPERSON, one.person)
        for one in Groundsperson.objects.select_related("person").order_by("pk")
    ]
    holders += [
        (FeedKind.INSTRUCTOR, one.person)
        for one in Instructor.objects.select_related("person").order_by("pk")
    ]
    holders += [(FeedKind.ARENA, one) for one in Arena.objects.order_by("pk")]
    holders += [(FeedKind.HORSE, one) for one in Horse.objects.order_by("pk")[:1]]
    holders += [
        (FeedKind.CLIENT, one.person)
        for one in Client.objects.select_related("person").order_by("pk")[:1]
    ]
    feeds = []
    for kind, holder in holders:
        token = demo_token(kind, str(holder))
        _, url = make_feed(kind=kind, holder=holder, now=now, token=token)
        feeds.append(Feed(str(holder), kind.value, url))
    return feeds


def as_data(school: School, plan: DayPlan, feeds: list[Feed]) -> dict[str, Any]:
    """Return what the demo shows, for another program."""
    return {
        "school": school.name,
        "date": plan.date.isoformat(),
        "as_booked_reset_s": plan.as_booked_reset_s,
        "reset_s": plan.reset_s,
        "status": plan.status,
        "logins": [asdict(one) for one in logins()],
        "feeds": [asdict(one) for one in feeds],
        "mail_dir": str(settings.MAIL_DIR),
    }


def as_text(school: School, plan: DayPlan, feeds: list[Feed]) -> str:
    """Return what the demo shows, for a reader."""
    zone = ZoneInfo(school.zone)
    lines = [
        f"{school.name} (invented), {plan.date:%A} {plan.date.day} {plan.date:%B %Y}",
        "",
        *_numbers(plan),
        "",
        "The order of the day:",
        *(
            _lesson(one, zone)
            for one in plan.lessons.select_related("lesson", "arena", "line").order_by(
                "starts_at", "arena__name", "pk"
            )
        ),
        "",
        "The first entry of the reset list:",
        *_changeover(changeovers_of_day(plan.date)[:1], zone),
        "",
        "Sign in as:",
        *(f"  {one.role:14} {one.username:10} {one.password}" for one in logins()),
        "",
        "Calendars to subscribe to:",
        *(f"  {one.kind:14} {one.holder}: {one.url}" for one in feeds),
        "",
        f"Mails to the clients lie in {settings.MAIL_DIR}",
    ]
    return "\n".join(lines)


def _numbers(plan: DayPlan) -> list[str]:
    planned = f"as planned {duration_words(plan.reset_s)}"
    proof = (
        "Proved: no order of this day needs less."
        if plan.status == "proved"
        else "Time ran out before it was proved that no order needs less."
    )
    if plan.as_booked_reset_s is None:
        return [f"Changing the fences: {planned}.", proof]
    saved = 1 - plan.reset_s / plan.as_booked_reset_s
    booked = duration_words(plan.as_booked_reset_s)
    return [
        f"Changing the fences: as booked {booked}, {planned} ({saved:.0%} less).",
        proof,
    ]


def _lesson(one: PlannedLesson, zone: ZoneInfo) -> str:
    local = one.starts_at.astimezone(zone)
    place = f"{one.arena}, {one.line}" if one.line else str(one.arena)
    return f"  {local:%H:%M}  {one.lesson} ({place})"


def _changeover(changeovers: list[Changeover], zone: ZoneInfo) -> list[str]:
    lines = []
    for one in changeovers:
        first, last = one.starts_at.astimezone(zone), one.ends_at.astimezone(zone)
        who = f", {one.who}" if one.who else ""
        lines.append(
            f"  {first:%H:%M}-{last:%H:%M}, {one.line.arena}, {one.line}, before "
            f"{one.title}{who}"
        )
        moves = [
            {"do": move.do, "was": move.was, "now": move.now}
            for move in one.moves.all()
        ]
        lines += [f"  - {words}" for words in changeover_words(moves, one.line.datum)]
    return lines
