"""The product's own texts of mails, in the language that is active."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from school.enums import MessageKind

PLACEHOLDERS = {
    "guardian": "first name of who is written to",
    "who": "first names of their riders",
    "title": "title of the calendar entry",
    "school": "the school's name",
    "lesson": "kind of lesson",
    "day": "day and date",
    "short_day": "day and date, short",
    "start": "when it begins",
    "end": "when it ends",
    "window": "between which times it may start and when the exact one is told, "
    "while that is open",
    "minutes": "its length",
    "arrive": "when to be there",
    "arena": "arena",
    "instructor": "the instructor's first name",
    "horse": "horses, if the school publishes them",
    "paid": "the credit or pack that ends, only in that mail",
    "until": "its last day, or until when an offer stands, only in those mails",
    "consent": "the consents that end, with whom they are for, only in that mail",
    "booked_after": "the first lesson booked for after that, only in that mail",
    "wear": "what to wear",
    "getting_there": "gate and parking, from the settings",
    "map": "address of a map, from the settings",
    "weather": "the rule for bad weather, from the settings",
    "price": "price of a place, if the school wants it said",
    "noted": "what was noted for a place given back late",
    "cancel": "until when to cancel without charge, and how",
    "link": "address of the page to accept, cancel or ask for another time",
    "page": "address of the client's page with all their lessons",
    "phone": "the school's telephone",
    "contact": "the school's mail address",
    "caution": "the caution, with the local bodies",
    "was": "what it was before the change",
    "reason": "why it was cancelled or moved",
    "first_day": "first day of a weekly lesson",
    "last_day": "its last day",
    "except_days": "days on which it is not held",
    "other_days": "days on which it is held otherwise",
}
"""What may stand in braces in a text, and what it is filled with."""


@dataclass(frozen=True, slots=True)
class Words:
    """A mail's subject and body, with names in braces."""

    subject: str
    body: str


def default_words(kind: str) -> Words:
    """Return the product's own text of a kind of mail, in the active language."""
    subject, *parts = {
        MessageKind.INVITE: _invite,
        MessageKind.CHANGED: _changed,
        MessageKind.CANCELLED: _cancelled,
        MessageKind.SERIES: _series,
        MessageKind.SERIES_CHANGED: _series_changed,
        MessageKind.SERIES_CANCELLED: _series_cancelled,
        MessageKind.REMINDER: _reminder,
        MessageKind.STILL_BOOKED: _still_booked,
        MessageKind.OFFER: _offer,
        MessageKind.OFFER_GONE: _offer_gone,
        MessageKind.ENDS_SOON: _ends_soon,
        MessageKind.CONSENT_ENDS: _consent_ends,
    }[MessageKind(kind)]()
    return Words(subject, "\n\n".join([_("Hello {guardian},"), *parts]))


def _facts() -> str:
    return "\n".join(
        [
            _("When: {day}, {start} to {end} ({minutes} minutes)"),
            "{window}",
            *_about(),
        ]
    )


def _about() -> list[str]:
    return [
        _("Be there: by {arrive}, to put the hat on, mount and check the girth"),
        _("Where: {arena}"),
        _("With: {instructor}"),
        _("Horse: {horse}"),
        _("Price: {price}"),
        _("Wear: {wear}"),
        _("Getting there: {getting_there}"),
        _("Map: {map}"),
        _("Weather: {weather}"),
    ]


def _ending() -> list[str]:
    return [
        "{cancel}\n"
        + _("Accept, cancel or ask for another time: {link}")
        + "\n"
        + _("All your lessons: {page}")
        + "\n"
        + _("Telephone: {phone}"),
        "{caution}",
    ]


def _invite() -> list[str]:
    return [
        "{title}, {short_day} {start}",
        _("A {lesson} for {who} at {school}."),
        _facts(),
        *_ending(),
    ]


def _changed() -> list[str]:
    return [
        _("Changed: {title}, {short_day} {start}"),
        _("The {lesson} for {who} at {school} has changed.")
        + "\n"
        + _("Before: {was}")
        + "\n"
        + _("Why: {reason}"),
        _facts(),
        *_ending(),
    ]


def _cancelled() -> list[str]:
    return [
        _("Cancelled: {title}, {short_day} {start}"),
        _(
            "The lesson on {day} at {start} in {arena} is not held for you any more. "
            "It goes from your calendar by itself."
        )
        + "\n"
        + _("Why: {reason}")
        + "\n"
        + _("Noted: {noted}"),
        _("Questions: {contact}") + "\n" + _("Telephone: {phone}"),
        _("All your lessons: {page}"),
    ]


def _weekly() -> str:
    return "\n".join(
        [
            _("When: {day}, {start} to {end} ({minutes} minutes)"),
            "{window}",
            _("From {first_day} to {last_day}"),
            _("Not on: {except_days}"),
            _("Otherwise on: {other_days}"),
            *_about(),
        ]
    )


def _series() -> list[str]:
    return [
        _("{title}, {day} {start} from {first_day}"),
        _("A weekly {lesson} for {who} at {school}."),
        _weekly(),
        *_ending(),
    ]


def _series_changed() -> list[str]:
    return [
        _("Changed: {title}, {day} {start} from {first_day}"),
        _("The weekly {lesson} for {who} at {school} has changed. It now is:"),
        _weekly(),
        *_ending(),
    ]


def _series_cancelled() -> list[str]:
    return [
        _("Cancelled: {title}, {day} {start}"),
        _(
            "The weekly lesson for {who} at {school} is not held for you any more. "
            "It goes from your calendar by itself."
        )
        + "\n"
        + _("Why: {reason}"),
        _("Questions: {contact}") + "\n" + _("Telephone: {phone}"),
        _("All your lessons: {page}"),
    ]


def _reminder() -> list[str]:
    return [
        _("Soon: {title}, {short_day} {start}"),
        _("A reminder of the {lesson} for {who} at {school}."),
        _facts(),
        *_ending(),
    ]


def _ends_soon() -> list[str]:
    return [
        _("Use it by {until}: {paid}"),
        _(
            "You have {paid} at {school}. It pays for a lesson up to {until}; after "
            "that day it is gone."
        ),
        _("Ask for a time, and see your lessons: {page}"),
        _("Questions: {contact}") + "\n" + _("Telephone: {phone}"),
    ]


def _consent_ends() -> list[str]:
    return [
        _("Please sign again by {until}: consent for {who}"),
        _(
            "A consent at {school} ends on {until}: {consent}. One that has ended "
            "allows nothing; without one to riding lessons nobody under age is booked."
        )
        + "\n"
        + _("Booked for after that day: {booked_after}"),
        _("Sign it for another year on your page: {page}"),
        _("Questions: {contact}") + "\n" + _("Telephone: {phone}"),
    ]


def _still_booked() -> list[str]:
    return [
        _("Still booked: {title}, {short_day} {start}"),
        _(
            "You said no to the {lesson} for {who} at {school}, but the time to cancel "
            "without charge was over. Nothing was cancelled: the place is still yours."
        ),
        _facts(),
        _("Give it back all the same, or keep it: {link}"),
        _("Telephone: {phone}"),
        "{caution}",
    ]


def _offer_gone() -> list[str]:
    return [
        _("No longer free: a place for {who}, {short_day} {start}"),
        _(
            "The place offered to {who} at {school} on {day} at {start} is no longer "
            "free. {who} stays on the waiting list and is offered the next one that "
            "fits."
        ),
        _("All your lessons: {page}"),
        _("Telephone: {phone}"),
    ]


def _offer() -> list[str]:
    return [
        _("A place for {who}: {short_day} {start}"),
        _(
            "A place has come free in a {lesson} for {who} at {school}. It is held for "
            "nobody: whoever answers first has it."
        ),
        _facts(),
        _("Take it or leave it by {until}: {page}"),
        _("Telephone: {phone}"),
        "{caution}",
    ]
