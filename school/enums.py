"""Choices shared by models, forms and the API."""

from django.db.models import TextChoices


class Role(TextChoices):
    """What a signed-in person may be; one person may be several."""

    MANAGER = "manager", "Yard manager"
    INSTRUCTOR = "instructor", "Instructor"
    GROUNDSPERSON = "groundsperson", "Groundsperson"
    CLIENT = "client", "Client"


class Level(TextChoices):
    """How far a horse or rider is, or what an instructor may teach."""

    NOVICE = "novice", "Novice"
    INTERMEDIATE = "intermediate", "Intermediate"
    ADVANCED = "advanced", "Advanced"


class ConsentKind(TextChoices):
    """What a consent allows; without the first nobody under age is booked."""

    RIDING = "riding", "Riding lessons"
    TREATMENT = "treatment", "Medical treatment in an emergency"
    PHOTOGRAPHS = "photographs", "Photographs"
    OTHER = "other", "Something else"


class Liking(TextChoices):
    """What is noted of a rider and a horse; as in scheduling.matching."""

    WISH = "wish", "Wished for"
    RATHER_NOT = "rather-not", "Rather not"
    NEVER = "never", "Never again"


class LessonKind(TextChoices):
    PRIVATE = "private", "Private"
    SHARED = "shared", "Shared"
    GROUP = "group", "Group"
    LEAD_REIN = "lead-rein", "Lead-rein"


class Work(TextChoices):
    """What is done in a lesson."""

    FLAT = "flat", "Flat"
    JUMPING = "jumping", "Jumping"


def horse_work(kind: str, work: str) -> str:
    """Return what a lesson counts as in a horse's work.

    Led over poles and a low cross in walk and trot, a horse has not been jumped
    (common practice, no source); its minutes count in full.
    """
    return Work.FLAT if kind == LessonKind.LEAD_REIN else work


class LessonState(TextChoices):
    ASKED = "asked", "Asked for"
    BOOKED = "booked", "Booked"
    CONFIRMED = "confirmed", "Confirmed"
    RUNNING = "running", "Running"
    DONE = "done", "Done"
    CANCELLED = "cancelled", "Cancelled"


HOLDING_STATES = (
    LessonState.BOOKED,
    LessonState.CONFIRMED,
    LessonState.RUNNING,
    LessonState.DONE,
)
"""States in which a lesson holds its arena, horses and people."""


class YardKind(TextChoices):
    """Work of the ground that is not for one lesson."""

    HARROW = "harrow", "Harrowing"
    SIDEWAYS = "sideways", "Moving a line"


class RideState(TextChoices):
    BOOKED = "booked", "Booked"
    MISSED = "missed", "Missed"
    CANCELLED = "cancelled", "Cancelled"


KEPT_PLACES = (RideState.BOOKED, RideState.MISSED)
"""States of a place that was kept for its rider, who may not have come."""


class OutcomeKind(TextChoices):
    """What became of a place that was not ridden as booked."""

    CANCELLED_LATE = "cancelled-late", "Given back late"
    NO_SHOW = "no-show", "Did not come"
    LATE = "late", "Came late"
    LOST = "lost", "Came too late to ride"
    ENDED_EARLY = "ended-early", "Lesson ended early"


class Charge(TextChoices):
    """A rule of the house: what a place that was not ridden costs its client."""

    CHARGED = "charged", "Charged as if ridden"
    MAKE_UP = "make-up", "Charged, with a lesson to make up"
    FREE = "free", "Free of charge"


class PaidBy(TextChoices):
    """What a place is paid by; without any of them the fee is noted."""

    FEE = "fee", "Fee"
    PACK = "pack", "Pack"
    CREDIT = "credit", "Lesson to make up"
    TERM = "term", "Term"
    NOTHING = "nothing", "Nothing"


class ExpiredPapers(TextChoices):
    """What is done where an instructor's paper has ended by a lesson's day."""

    IGNORE = "ignore", "Say nothing"
    WARN = "warn", "Warn"
    REFUSE = "refuse", "Refuse, unless a reason is given"


class EndCause(TextChoices):
    """Why a lesson was ended early."""

    RIDER = "rider", "A rider"
    HORSE = "horse", "A horse lame or distressed"
    WEATHER = "weather", "Weather or ground"
    YARD = "yard", "The yard itself"


class Went(TextChoices):
    """How a horse and rider went; as in exercises.geometry."""

    GOOD = "good", "Good: calm and straight"
    MIXED = "mixed", "Mixed"
    TOO_MUCH = "too-much", "Too much today"
    NOT_RIDDEN = "not-ridden", "Did not jump"


class Happened(TextChoices):
    """What can happen at an element; named as exercises name the faults they help."""

    KNOCK_IN_FRONT = "knocks in front", "Knock in front"
    KNOCK_BEHIND = "knocks behind", "Knock behind"
    DRIFT_LEFT = "drifting left", "Drift left"
    DRIFT_RIGHT = "drifting right", "Drift right"
    STOP = "refusing", "Stop"
    RUN_OUT = "running out", "Run-out"
    RUSHING = "rushing", "Rushing"
    FLAT = "flat", "Flat"
    TOO_CLOSE = "too close", "Too close"
    TOO_FAR_OFF = "too far off", "Too far off"
    RIDER_AHEAD = "rider ahead", "Rider ahead"
    RIDER_LEFT_BEHIND = "rider left behind", "Rider left behind"
    LOST_RHYTHM = "lost rhythm", "Lost rhythm"


KNOCKS = (Happened.KNOCK_IN_FRONT, Happened.KNOCK_BEHIND)
STOPS = (Happened.STOP, Happened.RUN_OUT)
CROOKED = (
    Happened.DRIFT_LEFT,
    Happened.DRIFT_RIGHT,
    Happened.RUSHING,
    Happened.LOST_RHYTHM,
)
"""What is neither calm nor straight."""


class HorseStateKind(TextChoices):
    REST = "rest", "Rest"
    VET = "vet", "Vet"
    FARRIER = "farrier", "Farrier"
    AWAY = "away", "Away"
    UNFIT = "unfit", "Unfit"


class OutKind(TextChoices):
    """What can be out for a time, and leave lessons without it."""

    INSTRUCTOR = "instructor", "Instructor"
    HORSE = "horse", "Horse"
    ARENA = "arena", "Arena"


class Tradition(TextChoices):
    """The table of distances a school builds by; as in exercises.geometry."""

    SCHOOLING = "schooling", "Schooling"
    CONTINENTAL = "continental", "Continental competition"
    TWELVE_FOOT = "twelve-foot", "Twelve-foot"


class LengthUnit(TextChoices):
    """How distances are written; as in exercises.geometry."""

    METRES = "metres", "Metres (6.20 m)"
    FEET = "feet", "Feet and inches (20 ft 4 in)"


class HeightUnit(TextChoices):
    """How heights of fences are written; as in exercises.geometry."""

    CM = "cm", "Centimetres (80 cm)"
    FEET = "feet", "Feet and inches (2 ft 7 in)"
    HOLES = "holes", "Holes of the wings (hole 13)"


class HorseUnit(TextChoices):
    """How heights of horses are written; as in exercises.geometry."""

    CM = "cm", "Centimetres (148 cm)"
    HANDS = "hands", "Hands (14.2 hh)"


class GroundNow(TextChoices):
    """What makes a distance ride longer or shorter; as in exercises.geometry."""

    DEEP = "deep", "Deep or loose going (10 cm shorter)"
    UPHILL = "uphill", "Uphill (10 cm shorter)"
    DOWNHILL = "downhill", "Downhill (10 cm longer)"


class Answer(TextChoices):
    """A client's answer to an invite (RFC 5545, PARTSTAT)."""

    NEEDS_ACTION = "NEEDS-ACTION", "Not answered"
    ACCEPTED = "ACCEPTED", "Accepted"
    DECLINED = "DECLINED", "Declined"
    TENTATIVE = "TENTATIVE", "Tentative"


class MessageMethod(TextChoices):
    """The iTIP method a message carries (RFC 5546)."""

    REQUEST = "REQUEST", "Invite"
    CANCEL = "CANCEL", "Cancellation"


class MessageKind(TextChoices):
    """What a mail to a client is about; each has its own text."""

    INVITE = "invite", "Invite to a lesson"
    CHANGED = "changed", "Lesson changed"
    CANCELLED = "cancelled", "Lesson cancelled"
    SERIES = "series", "Invite to a weekly lesson"
    SERIES_CHANGED = "series-changed", "Weekly lesson changed"
    SERIES_CANCELLED = "series-cancelled", "Weekly lesson ended"
    REMINDER = "reminder", "Reminder"
    STILL_BOOKED = "still-booked", "Said no too late"
    OFFER = "offer", "Place offered from the waiting list"
    OFFER_GONE = "offer-gone", "Offered place gone"
    ENDS_SOON = "ends-soon", "Credit or pack ends soon"
    CONSENT_ENDS = "consent-ends", "Consent ends soon"


class MessageState(TextChoices):
    WAITING = "waiting", "Waiting"
    SENT = "sent", "Sent"
    FAILED = "failed", "Given up"
    DROPPED = "dropped", "Overtaken"


class Language(TextChoices):
    """A language clients are written to in; each has a complete catalogue."""

    ENGLISH = "en", "English"
    GERMAN = "de", "Deutsch"


class CalendarBy(TextChoices):
    """How lessons reach a client's calendar; both at once would show them twice."""

    INVITE = "invite", "Invites by mail"
    FEED = "feed", "Subscribed feed; mails carry words only"


class FeedKind(TextChoices):
    GROUNDSPERSON = "groundsperson", "Reset list"
    INSTRUCTOR = "instructor", "Instructor's lessons"
    CLIENT = "client", "Client's lessons"
    HORSE = "horse", "Horse's day"
    ARENA = "arena", "Arena's day"


class WishState(TextChoices):
    OPEN = "open", "Waiting"
    MET = "met", "Met"
    WITHDRAWN = "withdrawn", "Withdrawn"


class OfferState(TextChoices):
    OPEN = "open", "Offered"
    TAKEN = "taken", "Taken"
    DECLINED = "declined", "Declined"
    GONE = "gone", "Place gone"


class ReplyState(TextChoices):
    """What became of an answer that came by mail."""

    APPLIED = "applied", "Taken"
    IGNORED = "ignored", "Dropped"
    HELD = "held", "Waits for a person"
    SETTLED = "settled", "Settled"
