"""What a text is previewed with: an invented family, nothing from the records."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _

from school.calendars.facts import (
    cancel_words_weekly,
    consent_facts,
    ending_facts,
    lesson_facts,
    long_day,
    offer_ends,
    short_day,
    was_words,
    weekday_words,
)
from school.calendars.invites import Made, html_of
from school.calendars.placeholders import fill
from school.calendars.texts import Words
from school.calendars.told import Told
from school.enums import ConsentKind, LessonKind, MessageKind, Work
from school.models import Client, Person, School
from school.queries.series import WEEK, moment_of

_WEEKLY = {
    MessageKind.SERIES,
    MessageKind.SERIES_CHANGED,
    MessageKind.SERIES_CANCELLED,
}


def sample_facts(
    school: School, kind: str, language: str, now: datetime
) -> dict[str, str]:
    """Return what stands for each name in a preview, in a language."""
    zone = ZoneInfo(school.zone)
    today = now.astimezone(zone).date()
    day = today + timedelta(days=7 + (5 - today.weekday()) % 7)
    starts_at = moment_of(day, time(10), zone)
    told = Told(
        starts_at=starts_at,
        ends_at=starts_at + timedelta(hours=1),
        arena_id=0,
        arena="Arena 1",
        instructor_id=0,
        instructor="Ines",
        kind=LessonKind.GROUP,
        work=Work.JUMPING,
        names=("Mira", "Tom"),
        horses=("Bramble", "Otter") if school.publish_horses else (),
    )
    client = Client(person=Person(first_name="Sam"), language=language)
    with translation.override(language):
        facts = lesson_facts(school, client, told, now)
        earlier = replace(
            told,
            starts_at=starts_at - timedelta(hours=1),
            ends_at=starts_at,
        )
        facts |= {
            "was": was_words(earlier, school),
            "reason": _("storm"),
            "link": f"{settings.BASE_URL}/my/…/lessons/1/",
            "page": f"{settings.BASE_URL}/my/…/",
        }
        if kind == MessageKind.ENDS_SOON:
            pack = {"of": "pack", "what": _("Ten lessons"), "left": "2"}
            facts |= ending_facts(school, client, pack | {"until": day.isoformat()})
        if kind == MessageKind.OFFER:
            ends = (starts_at - timedelta(days=1)).isoformat()
            facts["until"] = offer_ends(school, {"until": ends})
        if kind == MessageKind.CONSENT_ENDS:
            riding = ["Mira", ConsentKind.RIDING, ConsentKind.RIDING.label]
            facts |= consent_facts(
                school,
                client,
                {
                    "consents": [riding],
                    "until": day.isoformat(),
                    "booked_after": (starts_at + timedelta(days=7)).isoformat(),
                },
            )
        if kind in _WEEKLY:
            facts |= _weekly(school, client, day, told)
    return facts


def _weekly(school: School, client: Client, day: date, told: Told) -> dict[str, str]:
    return {
        "day": weekday_words(day),
        "first_day": long_day(day),
        "last_day": long_day(day + 9 * WEEK),
        "except_days": short_day(day + 3 * WEEK),
        "other_days": "",
        "cancel": cancel_words_weekly(school, client, told),
    }


def preview(
    school: School, kind: str, language: str, words: Words, now: datetime
) -> tuple[Made, str]:
    """Return a text as it would be sent: its subject and HTML, and its plain text."""
    facts = sample_facts(school, kind, language, now)
    text = fill(words.body, facts)
    html = html_of(text, language)
    return Made(fill(words.subject, facts), html.encode()), text
