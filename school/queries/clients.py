from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Q

from school.enums import (
    KEPT_PLACES,
    Answer,
    ConsentKind,
    FeedKind,
    LessonState,
    OfferState,
    OutcomeKind,
    RideState,
    WishState,
)
from school.models import (
    Client,
    Consent,
    FeedToken,
    Invitation,
    InvitedDay,
    Lesson,
    LessonPack,
    MakeUpCredit,
    Outcome,
    Ride,
    Rider,
    School,
    WaitingOffer,
    WaitingWish,
)
from school.queries.lessons import booked_rides, lessons_of_client, lessons_with_all
from school.queries.outcomes import (
    costs_later,
    outcome_costs,
    outcome_in_words,
    payers_in,
)
from school.queries.prices import price_list
from school.queries.riders import is_minor
from school.queries.schools import free_until
from school.queries.windows import exact_time_by, is_open

AHEAD = timedelta(days=120)
BACK = timedelta(days=366)
STILL_SHOWN = timedelta(hours=4)
CALLED_OFF_AHEAD = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class ClientLesson:
    """A lesson as its client may see it: their own rides only.

    `exact_by` is when they are told the exact time, while that is open; `free_anew`
    says that the free time counts from a move of the school.
    """

    lesson: Lesson
    rides: list[Ride]
    answer: str
    arrive: datetime
    cancel_until: datetime
    free: bool
    open: bool
    later: str
    exact_by: datetime | None = None
    free_anew: bool = False

    @property
    def names(self) -> str:
        """The first names of those who ride."""
        return " and ".join(ride.rider.person.first_name for ride in self.rides)

    @property
    def accepted(self) -> bool:
        """Whether the client said that they come."""
        return self.answer == Answer.ACCEPTED

    @property
    def declined(self) -> bool:
        """Whether the client said no while the lesson is still booked."""
        return self.answer == Answer.DECLINED


def next_lessons(client: Client, school: School, now: datetime) -> list[ClientLesson]:
    """Return a client's lessons from now on, in a fixed number of queries."""
    lessons = lessons_of_client(client, now - STILL_SHOWN, now + AHEAD)
    return _seen_by(client, school, lessons, now)


def called_off(client: Client, now: datetime) -> list[Ride]:
    """Return the places of the next two weeks in lessons that are not held."""
    return list(
        Ride.objects.filter(
            rider__client=client,
            state__in=KEPT_PLACES,
            lesson__state=LessonState.CANCELLED,
            lesson__ends_at__gt=now,
            lesson__starts_at__lt=now + CALLED_OFF_AHEAD,
        )
        .select_related("lesson__arena", "rider__person")
        .order_by("lesson__starts_at", "pk")
    )


def client_lesson(
    client: Client, school: School, pk: int, now: datetime
) -> ClientLesson | None:
    """Return one lesson as its client may see it; None if it is not theirs."""
    lesson = (
        lessons_with_all()
        .filter(pk=pk, rides__rider__client=client)
        .exclude(state=LessonState.ASKED)
        .distinct()
        .first()
    )
    return None if lesson is None else _seen_by(client, school, [lesson], now)[0]


def _seen_by(
    client: Client, school: School, lessons: list[Lesson], now: datetime
) -> list[ClientLesson]:
    # A day of a weekly invite, unless the lesson has an entry of its own.
    answers = dict(
        InvitedDay.objects.filter(
            invitation__client=client,
            invitation__withdrawn=False,
            lesson__in=lessons,
            dropped=False,
        ).values_list("lesson_id", "answer")
    ) | dict(
        Invitation.objects.filter(
            client=client, lesson__in=lessons, withdrawn=False
        ).values_list("lesson_id", "answer")
    )
    before, prices = timedelta(minutes=school.arrive_before_min), price_list(school)
    own = {
        lesson.pk: [
            ride for ride in booked_rides(lesson) if ride.rider.client_id == client.pk
        ]
        for lesson in lessons
    }
    payers = payers_in({ride.pk: one for one in lessons for ride in own[one.pk]})
    until = {one.pk: free_until(school, one.starts_at, one.moved_at) for one in lessons}
    return [
        ClientLesson(
            lesson=lesson,
            rides=own[lesson.pk],
            answer=answers.get(lesson.pk, ""),
            arrive=lesson.starts_at - before,
            cancel_until=until[lesson.pk],
            free=now <= until[lesson.pk],
            open=lesson.starts_at > now
            and lesson.state in {LessonState.BOOKED, LessonState.CONFIRMED},
            later=costs_later(
                school, lesson, [payers[ride.pk] for ride in own[lesson.pk]], prices
            ),
            exact_by=exact_time_by(school, lesson.starts_at)
            if is_open(lesson)
            else None,
            free_anew=until[lesson.pk] != free_until(school, lesson.starts_at, None),
        )
        for lesson in lessons
    ]


def past_rides(client: Client, now: datetime) -> list[Ride]:
    """Return the rides of a client's riders in the last year, also those given back."""
    return list(
        Ride.objects.filter(
            Q(lesson__starts_at__lt=now)
            | Q(state=RideState.CANCELLED)
            | Q(lesson__state=LessonState.CANCELLED),
            rider__client=client,
            lesson__starts_at__gte=now - BACK,
        )
        .select_related(
            "lesson__arena", "lesson__instructor__person", "rider__person", "horse",
            "outcome",
        )
        .order_by("-lesson__starts_at", "-pk")[:60]
    )  # fmt: skip


def ended_in_words(ride: Ride) -> str:
    """Say how a ride of the past ended, with what it costs where it was missed."""
    outcome: Outcome | None = getattr(ride, "outcome", None)
    costs = ""
    if outcome is not None and outcome.kind != OutcomeKind.LATE:
        costs = f"; costs {outcome_costs(outcome)}"
    if ride.lesson.state == LessonState.CANCELLED and ride.state != RideState.CANCELLED:
        return f"cancelled: {ride.lesson.state_reason}"
    if ride.state == RideState.CANCELLED:
        return f"{ride.cancelled_reason}{costs}"
    if outcome is not None:
        words = outcome_in_words(outcome)
        return f"{words[0].lower()}{words[1:]}{costs}"
    return str(ride.lesson.get_state_display()).lower()


def open_wishes(client: Client) -> list[WaitingWish]:
    """Return the wishes for times that a client's riders wait with."""
    return list(
        WaitingWish.objects.filter(rider__client=client, state=WishState.OPEN)
        .select_related("rider__person", "instead_of")
        .order_by("made_at", "pk")
    )


def open_offers(client: Client, now: datetime) -> list[WaitingOffer]:
    """Return the places offered to a client's riders that can still be taken."""
    return list(
        WaitingOffer.objects.filter(
            wish__rider__client=client,
            state=OfferState.OPEN,
            ends_at__gt=now,
            lesson__starts_at__gt=now,
            lesson__state__in=[LessonState.BOOKED, LessonState.CONFIRMED],
        )
        .select_related(
            "wish__rider__person", "lesson__arena", "lesson__instructor__person"
        )
        .order_by("ends_at", "pk")
    )


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack with what is left of it, and whether its last day is over."""

    pack: LessonPack
    left: int
    ended: bool = False

    @property
    def counts(self) -> bool:
        """Whether it still pays for a lesson."""
        return self.left > 0 and not self.ended


def packs_of(client: Client, today: date) -> list[Pack]:
    """Return a client's packs that still pay for something, the first to end first."""
    return [one for one in _packs(client, today) if one.counts]


def packs_over(client: Client, today: date) -> list[Pack]:
    """Return a client's packs that are used up, closed or ended, the latest first."""
    return [one for one in reversed(_packs(client, today)) if not one.counts]


def _packs(client: Client, today: date) -> list[Pack]:
    packs = LessonPack.objects.filter(client=client).annotate(used=Count("uses"))
    return [
        Pack(one, one.lessons - one.used, one.expires_date < today)
        for one in packs.order_by("expires_date", "pk")
    ]


def credits_of(client: Client, today: date) -> list[MakeUpCredit]:
    """Return what a client has to make up, the first to end first."""
    return list(
        MakeUpCredit.objects.filter(
            client=client, used_for=None, expires_date__gte=today
        ).order_by("expires_date", "pk")
    )


def consents_of(client: Client) -> list[Consent]:
    """Return the latest of each consent of a client's riders, by who and what."""
    latest: dict[tuple[int, str], Consent] = {}
    for one in (
        Consent.objects.filter(rider__client=client)
        .select_related("rider__person", "given_by")
        .order_by("given_date", "pk")
    ):
        latest[(one.rider_id, one.name)] = one
    return sorted(latest.values(), key=lambda one: (one.expires_date, one.pk))


def riders_of(client: Client) -> list[Rider]:
    """Return a client's riders by name."""
    riders = client.riders.select_related("person")
    return list(riders.order_by("person__first_name", "pk"))


def without_consent(client: Client, school: School, today: date) -> list[Rider]:
    """Return the minors for whom a guardian never consented to riding lessons."""
    consented = Consent.objects.filter(kind=ConsentKind.RIDING, rider__client=client)
    riders = client.riders.exclude(pk=client.pk).exclude(
        pk__in=consented.values("rider")
    )
    return [
        one
        for one in riders.select_related("person").order_by("pk")
        if is_minor(one.born_date, today, school.of_age_years)
    ]


def entries_by_invite(client: Client, now: datetime) -> int:
    """Return how many entries to come a client has by invite, a series being one."""
    today = now.date()
    return (
        Invitation.objects.filter(client=client, withdrawn=False, by_invite=True)
        .filter(Q(lesson__ends_at__gt=now) | Q(last_date__gte=today))
        .count()
    )


def client_feeds(client: Client) -> list[FeedToken]:
    """Return a client's calendar addresses in use, the newest first."""
    return list(
        FeedToken.objects.filter(
            person_id=client.pk, kind=FeedKind.CLIENT, revoked_at=None
        ).order_by("-made_at", "-pk")
    )


def all_clients() -> list[Client]:
    """Return every client by name, with their riders."""
    return list(
        Client.objects.select_related("person")
        .prefetch_related("riders__person")
        .order_by("person__first_name", "person__last_name", "pk")
    )
