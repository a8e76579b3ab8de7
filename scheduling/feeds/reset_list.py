"""The groundsperson's feed: an entry for each changeover, the list in it, and for
each work of the ground."""

from collections import Counter
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings

from exercises.geometry.units import Units
from scheduling.convert.changeovers import walk_of, work_words
from scheduling.convert.fetching import fetched_before
from scheduling.models import Changeover
from scheduling.queries.carrying import Carrying, carrying_of_yard
from scheduling.queries.changeovers import (
    changeovers_between,
    changeovers_of_groundsperson,
)
from scheduling.wording import changeover_words
from school.calendars.components import Entry
from school.calendars.snapshots import Snapshot
from school.convert import units_of
from school.models import FeedToken, School, YardWork
from school.queries.store import store_by_place
from school.queries.yard import yard_work_of

BACK = timedelta(days=14)
AHEAD = timedelta(days=120)
REFRESH_MIN = 15
ALARM_MIN = 10

_DOING = ("build", "shift", "change")


def reset_snapshot(school: School, token: FeedToken, now: datetime) -> Snapshot:
    """Return the feed of a groundsperson's work; no rider is named."""
    if token.person is None:
        raise RuntimeError("a groundsperson's feed has a person")
    whose, first, last = token.person.groundsperson, now - BACK, now + AHEAD
    changeovers = changeovers_of_groundsperson(whose, first, last)
    works = yard_work_of(whose, first, last)
    # What others change on those days decides what lies where.
    days = [one.plan.date for one in changeovers] or [now.date()]
    fetched = fetched_before(
        changeovers_between(min(days), max(days)), store_by_place()
    )
    zone, units, carrying = (
        ZoneInfo(school.zone),
        units_of(school),
        carrying_of_yard(school),
    )
    return Snapshot(
        name=f"Resets, {school.name}",
        zone=school.zone,
        refresh_min=REFRESH_MIN,
        entries=(
            *(
                _entry(one, zone, units, carrying, fetched.get(one.pk, ""))
                for one in changeovers
            ),
            *(_yard_entry(one, zone, units, school.harrow_min) for one in works),
        ),
    )


def _yard_entry(work: YardWork, zone: ZoneInfo, units: Units, harrow_min: int) -> Entry:
    headline = _headline(_work_in_short(work), work.ends_at, zone, work.arena.name)
    url = f"{settings.BASE_URL}/resets/{work.date.isoformat()}/"
    changed = work.changed_at.astimezone(zone)
    return Entry(
        uid=work.uid,
        sequence=work.version,
        changed_at=work.changed_at,
        starts_at=work.starts_at,
        ends_at=work.ends_at,
        summary=headline,
        location=work.arena.name,
        description="\n".join(
            [
                headline,
                work_words(work, units, harrow_min),
                f"As of {changed:%d %b %H:%M}.",
                f"Live list: {url}",
            ]
        ),
        url=url,
        alarm_min=ALARM_MIN,
    )


def _work_in_short(work: YardWork) -> str:
    return "Harrow" if work.line is None else f"Move line {work.line.name}"


def _headline(what: str, ends_at: datetime, zone: ZoneInfo, arena: str) -> str:
    """Say what, until when and where, in what a phone shows of an entry.

    The arena last: a long name is what may be cut off, since the place of the entry
    names it again.
    """
    return f"{what} by {ends_at.astimezone(zone):%H:%M}, {arena}"


def _entry(
    changeover: Changeover,
    zone: ZoneInfo,
    units: Units,
    carrying: Carrying,
    fetch: str,
) -> Entry:
    line, plan = changeover.line, changeover.plan
    _, _, walked = walk_of(changeover, carrying)
    moves = [{"do": one.do, "was": one.was, "now": one.now} for one in walked]
    first, *steps = changeover_words(moves, line.datum, units)
    numbered = [f"{n}. {words}" for n, words in enumerate(steps, start=1)]
    made = plan.made_at.astimezone(zone)
    day = changeover.starts_at.astimezone(zone).date()
    purpose = f"{changeover.before_or_for.capitalize()} {changeover.title}"
    if changeover.purpose == Changeover.Purpose.EVENING:
        purpose = changeover.heading
    stands = any(one["now"] for one in moves)
    headline = _headline(_short(moves), changeover.ends_at, zone, line.arena.name)
    text = "\n".join(
        [
            headline,
            f"{purpose}, {line.name}, {_minutes(changeover)} min.",
            first,
            *([f"Fetch {fetch}."] if fetch else []),
            *numbered,
            "Measure every gap again before the first horse jumps."
            if stands
            else "Cups counted back into the pail, nothing on the track.",
            f"As of {made:%d %b %H:%M}.",
            f"Live list: {settings.BASE_URL}/resets/{day.isoformat()}/",
        ]
    )
    return Entry(
        uid=changeover.uid,
        sequence=plan.version,
        changed_at=plan.made_at,
        starts_at=changeover.starts_at,
        ends_at=changeover.ends_at,
        summary=headline,
        location=f"{line.arena.name}, {line.name}",
        description=text,
        url=f"{settings.BASE_URL}/resets/{day.isoformat()}/",
        alarm_min=ALARM_MIN,
    )


def _short(moves: list[dict[str, object]]) -> str:
    """Say what is most of the work, "Build 2, shift 3" say."""
    count = Counter(str(one["do"]) for one in moves)
    first, *others = [f"{do} {count[do]}" for do in _DOING if count[do]] or [
        f"strip {count['strip']}"
    ]
    if len(others) > 1:
        others = [f"{sum(count[do] for do in _DOING) - int(first.split()[1])} more"]
    return ", ".join([first.capitalize(), *others])


def _minutes(changeover: Changeover) -> int:
    return int((changeover.ends_at - changeover.starts_at).total_seconds() // 60)
