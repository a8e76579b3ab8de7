"""What a mail says of a lesson, as words in the active language.

No other rider, no level, weight or health, no surname of a child.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from school.calendars.told import Told, WeeklyPart
from school.enums import (
    CalendarBy,
    Charge,
    ConsentKind,
    LessonKind,
    PaidBy,
    Work,
)
from school.models import Client, Outcome, School
from school.queries.prices import fee_of, minutes_of, money, price_list
from school.queries.schools import free_until
from school.queries.windows import exact_time_by


def title_of(names: Sequence[str], work: str) -> str:
    """Return the title of a client's entry, "Lesson Mira: jumping" say."""
    who = joined(names) or _("yours")
    if work == Work.JUMPING:
        return _("Lesson {who}: jumping").format(who=who)
    return _("Lesson {who}: flat").format(who=who)


def joined(words: Iterable[str]) -> str:
    """Join names, "Mira and Tom"."""
    *first, last = [*words] or [""]
    return (
        _("{first} and {last}").format(first=", ".join(first), last=last)
        if (first)
        else last
    )


def lesson_words(kind: str, work: str) -> str:
    """Return what a lesson is called in a sentence."""
    return {
        (LessonKind.PRIVATE, Work.JUMPING): _("private jumping lesson"),
        (LessonKind.SHARED, Work.JUMPING): _("shared jumping lesson"),
        (LessonKind.GROUP, Work.JUMPING): _("group jumping lesson"),
        (LessonKind.PRIVATE, Work.FLAT): _("private flat lesson"),
        (LessonKind.SHARED, Work.FLAT): _("shared flat lesson"),
        (LessonKind.GROUP, Work.FLAT): _("group flat lesson"),
        (LessonKind.LEAD_REIN, Work.JUMPING): _("lead-rein lesson over poles"),
        (LessonKind.LEAD_REIN, Work.FLAT): _("lead-rein lesson"),
    }[LessonKind(kind), Work(work)]


def long_day(day: date) -> str:
    """Write a day in full, "Saturday 6 March 2027"."""
    return date_format(day, pgettext("date format", "l j F Y"))


def short_day(day: date) -> str:
    """Write a day briefly, "Sat 6 Mar"."""
    return date_format(day, pgettext("date format", "D j M"))


def moment_words(moment: datetime) -> str:
    """Write a local moment, "Friday 5 March, 09:00"."""
    return date_format(moment, pgettext("date format", "l j F, H:i"))


def base_facts(school: School, client: Client) -> dict[str, str]:
    """Return what is said whatever the mail is about."""
    return {
        "guardian": client.person.first_name,
        "school": school.name,
        "getting_there": school.getting_there,
        "map": school.map_url,
        "weather": school.weather_rule,
        "phone": school.phone,
        "contact": school.organiser_email,
    }


def ending_facts(
    school: School, client: Client, told: Mapping[str, str]
) -> dict[str, str]:
    """Return what is said of a credit or a pack that ends soon."""
    paid = _("a lesson to make up ({what})").format(what=told["what"])
    if told["of"] == "pack":
        count = int(told["left"])
        paid = ngettext(
            "{count} lesson left of {what}", "{count} lessons left of {what}", count
        ).format(count=count, what=told["what"])
    until = long_day(date.fromisoformat(told["until"]))
    return base_facts(school, client) | {"paid": paid, "until": until}


def consent_facts(
    school: School, client: Client, told: Mapping[str, Any]
) -> dict[str, str]:
    """Return what is said of consents that end on one day, by whom they are for."""
    named: dict[str, list[str]] = {}
    for who, kind, name in told["consents"]:
        named.setdefault(who, []).append(_consent_words(kind, name))
    booked_after = ""
    if told["booked_after"]:
        moment = datetime.fromisoformat(told["booked_after"])
        booked_after = moment_words(moment.astimezone(ZoneInfo(school.zone)))
    return base_facts(school, client) | {
        "who": joined(named),
        "consent": "; ".join(f"{who}, {joined(what)}" for who, what in named.items()),
        "until": long_day(date.fromisoformat(told["until"])),
        "booked_after": booked_after,
    }


def _consent_words(kind: str, name: str) -> str:
    """Return a consent in the active language, one in the school's words as it is."""
    known = {
        ConsentKind.RIDING: _("riding lessons"),
        ConsentKind.TREATMENT: _("medical treatment in an emergency"),
        ConsentKind.PHOTOGRAPHS: _("photographs"),
    }
    asked = ConsentKind(kind)
    return known[asked] if name == asked.label and asked in known else name


def lesson_facts(
    school: School, client: Client, told: Told, now: datetime
) -> dict[str, str]:
    """Return what is said of one lesson."""
    zone = ZoneInfo(school.zone)
    starts, ends = told.starts_at.astimezone(zone), told.ends_at.astimezone(zone)
    length = told.ends_at - told.starts_at
    early = told.starts_at.astimezone(UTC) - timedelta(minutes=school.arrive_before_min)
    return (
        base_facts(school, client)
        | _kind_facts(school, told)
        | {
            "title": title_of(told.names, told.work),
            "day": long_day(starts),
            "short_day": short_day(starts),
            "start": f"{starts:%H:%M}",
            "end": f"{ends:%H:%M}",
            "window": window_words(school, told),
            "minutes": f"{length.total_seconds() / 60:.0f}",
            "arrive": f"{early.astimezone(zone):%H:%M}",
            "horse": joined(told.horses) if told.horses else "",
            "cancel": cancel_words(school, client, told, now),
            "price": price_words(school, told),
            "reason": told.reason,
        }
    )


def offer_ends(school: School, told: Mapping[str, Any]) -> str:
    """Say until when an offered place may be taken; at its start at the latest."""
    ends = datetime.fromisoformat(told.get("until") or told["starts_at"])
    return moment_words(ends.astimezone(ZoneInfo(school.zone)))


def window_words(school: School, told: Told) -> str:
    """Say between which times a lesson may start, and when the exact one is told."""
    if told.window_from is None or told.window_to is None:
        return ""
    zone = ZoneInfo(school.zone)
    when = exact_time_by(school, told.starts_at).astimezone(zone)
    return _(
        "Not fixed yet: it may start from {first} to {last}; you are told the exact "
        "time by {when}."
    ).format(
        first=f"{told.window_from.astimezone(zone):%H:%M}",
        last=f"{told.window_to.astimezone(zone):%H:%M}",
        when=moment_words(when),
    )


def window_words_weekly(school: School, part: WeeklyPart) -> str:
    """Say the same of every lesson of a week."""
    first, last = part.series.window_from, part.series.window_to
    if first is None or last is None:
        return ""
    return _(
        "Not fixed: each may start from {first} to {last}; you are told the exact time "
        "by {clock} on the evening before."
    ).format(
        first=f"{first:%H:%M}",
        last=f"{last:%H:%M}",
        clock=f"{school.exact_time_at:%H:%M}",
    )


def _kind_facts(school: School, told: Told) -> dict[str, str]:
    return {
        "who": joined(told.names),
        "lesson": lesson_words(told.kind, told.work),
        "arena": told.arena,
        "instructor": told.instructor,
        "wear": wear_words(told.work),
        "caution": caution_words(told.work, school.local_bodies),
    }


def wear_words(work: str) -> str:
    """Return what to wear; the standards are the local federation's."""
    words = _(
        "a riding hat to the standard your federation asks for, boots with a heel"
    )
    # Not within the braces: what collects texts for translation looks past those.
    protector = _("a body protector")
    return f"{words}, {protector}" if work == Work.JUMPING else words


def caution_words(work: str, local_bodies: str) -> str:
    """Return the caution, which defers to the instructor and the local bodies."""
    words = _("Tell the instructor before the lesson if anything has changed.")
    if work == Work.JUMPING:
        words = _(
            "Jumping can hurt, also the experienced. The instructor decides what is "
            "ridden; tell them before the lesson if anything has changed."
        )
    if local_bodies:
        first = _("The rules of {bodies} come first.").format(bodies=local_bodies)
        words = f"{words} {first}"
    return words


def how_to_cancel(school: School, client: Client) -> str:
    """Say how a client who can't come says so."""
    contact = school.organiser_email
    if client.calendar_by == CalendarBy.FEED:
        return _("write to {contact}").format(contact=contact)
    return _("decline this invite, or write to {contact}").format(contact=contact)


def cancel_words(school: School, client: Client, told: Told, now: datetime) -> str:
    """Say until when a lesson may be cancelled without charge, and what it is after."""
    until = free_until(school, told.starts_at, told.moved_at)
    usual, after = free_until(school, told.starts_at, None), fee_words(school, told)
    when = moment_words(until.astimezone(ZoneInfo(school.zone)))
    how = how_to_cancel(school, client)
    if until <= now:
        words = _(
            "The time to cancel without charge ended on {when}. If you cannot come, "
            "{how}."
        ).format(when=when, how=how)
    elif until != usual:
        words = _(
            "Since we changed the time, cancel without charge until {when}: {how}."
        ).format(when=when, how=how)
    else:
        words = _("Cancel without charge until {when}, {before}: {how}.").format(
            when=when, before=_before(school), how=how
        )
    return words + after


def fee_words(school: School, told: Told) -> str:
    """Say what a place given back late costs, with a space before; empty if nothing."""
    fee = fee_of(school, _price(school, told))
    if not fee or school.late_cancel_charge == Charge.FREE:
        return ""
    words = _(
        "After that a fee of {fee} is noted, or what has paid for the place in advance "
        "is used."
    )
    return " " + words.format(fee=money(fee, school.currency))


def price_words(school: School, told: Told) -> str:
    """Say the price of a place, where the school wants it said; else nothing."""
    price = _price(school, told) if school.price_in_invites else None
    return "" if price is None else money(price, school.currency)


def noted_words(outcomes: Iterable[Outcome]) -> str:
    """Say what was noted to a client for places of a lesson given back late."""
    said = []
    for one in outcomes:
        if one.amount is not None:
            fee = money(one.amount, one.currency)
            said.append(_("a fee of {fee}").format(fee=fee))
        elif one.charge != Charge.FREE and one.paid_by == PaidBy.PACK:
            said.append(_("one lesson of the pack"))
        elif one.charge != Charge.FREE and one.paid_by == PaidBy.CREDIT:
            said.append(_("the lesson to make up that paid it"))
    return joined(said) if said else ""


def _price(school: School, told: Told) -> Decimal | None:
    minutes = minutes_of(told.starts_at, told.ends_at)
    return price_list(school).get((told.kind, minutes))


def _before(school: School) -> str:
    hours = school.notice_hours
    return ngettext(
        "{hours} hour before the lesson", "{hours} hours before the lesson", hours
    ).format(hours=hours)


def cancel_words_weekly(school: School, client: Client, told: Told) -> str:
    """Say the same of every lesson of a week, by the first of them."""
    zone = ZoneInfo(school.zone)
    until = free_until(school, told.starts_at, None).astimezone(zone)
    form = pgettext("weekday and time", "l H:i")
    words = _(
        "Cancel a lesson without charge until {before}, that is {when}: {how}."
    ).format(
        before=_before(school),
        when=date_format(until, form),
        how=how_to_cancel(school, client),
    )
    return words + fee_words(school, told)


def weekly_facts(school: School, client: Client, part: WeeklyPart) -> dict[str, str]:
    """Return what is said of a weekly lesson: how it usually is, and what differs."""
    zone, usual = part.zone, part.usual(part.weeks[0])
    starts = usual.starts_at.astimezone(zone)
    others = [
        _("{day} {start} in {arena}").format(
            day=short_day(told.starts_at.astimezone(zone)),
            start=f"{told.starts_at.astimezone(zone):%H:%M}",
            arena=told.arena,
        )
        + (f" ({told.reason})" if told.reason else "")
        for told in (part.told[day] for day in part.unusual())
    ]
    return lesson_facts(school, client, usual, usual.starts_at) | {
        "day": weekday_words(starts),
        "short_day": date_format(starts, "l"),
        "first_day": long_day(part.weeks[0]),
        "last_day": long_day(part.weeks[-1]),
        "except_days": ", ".join(short_day(day) for day in part.missing()),
        "other_days": "; ".join(others),
        "window": window_words_weekly(school, part),
        "cancel": cancel_words_weekly(school, client, usual),
    }


def weekday_words(day: date) -> str:
    """Write the day of a weekly lesson, "every Tuesday"."""
    return _("every {weekday}").format(weekday=date_format(day, "l"))


def was_words(told: Told, school: School) -> str:
    """Say what a lesson was before it changed, in one line, with the horses told."""
    words = _was_words(told, ZoneInfo(school.zone))
    if not told.horses:
        return words
    return _("{was}, on {horse}").format(was=words, horse=joined(told.horses))


def _was_words(told: Told, zone: ZoneInfo) -> str:
    starts, ends = told.starts_at.astimezone(zone), told.ends_at.astimezone(zone)
    if told.window_from is not None and told.window_to is not None:
        return _(
            "{day}, to start from {first} to {last}, {arena}, with {instructor}"
        ).format(
            day=long_day(starts),
            first=f"{told.window_from.astimezone(zone):%H:%M}",
            last=f"{told.window_to.astimezone(zone):%H:%M}",
            arena=told.arena,
            instructor=told.instructor,
        )
    return _("{day}, {start} to {end}, {arena}, with {instructor}").format(
        day=long_day(starts),
        start=f"{starts:%H:%M}",
        end=f"{ends:%H:%M}",
        arena=told.arena,
        instructor=told.instructor,
    )
