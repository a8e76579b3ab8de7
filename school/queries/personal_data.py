from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from school.enums import HOLDING_STATES, RideState
from school.models import (
    AuditEntry,
    Client,
    Consent,
    LessonPack,
    LevelSigning,
    MakeUpCredit,
    OutboxMessage,
    Person,
    Reply,
    RiddenRide,
    Ride,
    Rider,
    RiderStop,
    SecondGuardian,
    WaitingWish,
)


def people_of(client: Client) -> list[Person]:
    """Return a client and their riders, as people, each once."""
    return list(
        Person.objects.filter(
            Q(pk=client.pk) | Q(rider__client=client)
        ).order_by("pk")
    )  # fmt: skip


def second_guardians_of(client: Client) -> list[Person]:
    """Return who is or was second guardian of a client's riders, and nothing else here.

    Not a guardian of another client's rider, no client, rider or staff themselves.
    """
    return list(
        Person.objects.filter(
            Q(second_guardian_of__rider__client=client)
            | Q(consent__rider__client=client)
            | Q(messages_copied__client=client),
            client=None,
            rider=None,
            instructor=None,
            groundsperson=None,
            account=None,
        )
        .exclude(
            pk__in=SecondGuardian.objects.exclude(rider__client=client).values("person")
        )
        .distinct()
        .order_by("pk")
    )


def rides_to_come(client: Client, now: datetime) -> list[Ride]:
    """Return the rides that a client's riders are booked for from now on."""
    return list(
        Ride.objects.filter(
            rider__client=client,
            state=RideState.BOOKED,
            lesson__state__in=HOLDING_STATES,
            lesson__ends_at__gt=now,
        )
        .select_related("lesson")
        .order_by("lesson__starts_at", "pk")
    )


def audit_of_people(client: Client) -> QuerySet[AuditEntry]:
    """Return what was noted of a client, their riders, consents and wishes."""
    riders = list(Rider.objects.filter(client=client).values_list("pk", flat=True))
    people = [one.pk for one in people_of(client)]
    guarded = list(
        SecondGuardian.objects.filter(person__in=people).values_list("pk", flat=True)
    )

    def of(subject: str, keys: list[int]) -> Q:
        return Q(subject=subject, subject_id__in=[str(key) for key in keys])

    consents = list(
        Consent.objects.filter(rider__client=client).values_list("pk", flat=True)
    )
    stops = list(
        RiderStop.objects.filter(rider__client=client).values_list("pk", flat=True)
    )
    wishes = list(
        WaitingWish.objects.filter(rider__client=client).values_list("pk", flat=True)
    )
    return AuditEntry.objects.filter(
        of("client", [client.pk])
        | of("rider", riders)
        | of("secondguardian", [*riders, *guarded])
        | of("person", people)
        | of("consent", consents)
        | of("riderstop", stops)
        | of("waitingwish", wishes)
    ).order_by("at", "pk")


def _rows(rows: Any) -> list[dict[str, Any]]:
    return list(rows)


def personal_data(client: Client) -> dict[str, list[dict[str, Any]]]:
    """Return all that is kept of a client and their riders, by kind.

    Without secrets, and without what tells of anybody else.
    """
    riders = Rider.objects.filter(client=client)
    kinds: dict[str, QuerySet[Any]] = {
        "people": Person.objects.filter(
            Q(pk__in=[one.pk for one in people_of(client)])
            | Q(second_guardian_of__rider__client=client)
        ).distinct(),
        "client": Client.objects.filter(pk=client.pk),
        "riders": riders,
        "second guardians": SecondGuardian.objects.filter(
            Q(rider__client=client) | Q(person=client.pk)
        ),
        "consents": Consent.objects.filter(rider__client=client),
        "levels signed": LevelSigning.objects.filter(rider__client=client),
        "stops": RiderStop.objects.filter(rider__client=client),
        "wishes": WaitingWish.objects.filter(rider__client=client),
        "packs": LessonPack.objects.filter(client=client),
        "credits": MakeUpCredit.objects.filter(client=client),
    }
    data = {name: list(rows.order_by("pk").values()) for name, rows in kinds.items()}
    data["rides"], data["ridden"] = _rides(client), _ridden(client)
    data["mails"] = _rows(
        OutboxMessage.objects.filter(client=client)
        .order_by("made_at", "pk")
        .values("kind", "subject", "told", "state", "made_at", "sent_at")
    )
    data["answers by mail"] = _rows(
        Reply.objects.filter(invitation__client=client)
        .order_by("received_at", "pk")
        .values("received_at", "sender", "subject", "answer", "comment", "state")
    )
    data["noted"] = _rows(
        audit_of_people(client).values("at", "action", "subject", "before", "after")
    )
    return data


def _rides(client: Client) -> list[dict[str, Any]]:
    return _rows(
        Ride.objects.filter(rider__client=client)
        .order_by("lesson__starts_at", "pk")
        .values(
            "rider__person__first_name",
            "lesson__title",
            "lesson__starts_at",
            "lesson__ends_at",
            "horse__name",
            "state",
            "cancelled_reason",
            "outcome__kind",
            "outcome__minutes_late",
            "outcome__charge",
            "outcome__paid_by",
        )
    )


def _ridden(client: Client) -> list[dict[str, Any]]:
    return _rows(
        RiddenRide.objects.filter(rider__client=client)
        .order_by("log__lesson__starts_at", "pk")
        .values(
            "rider__person__first_name",
            "log__lesson__title",
            "log__lesson__starts_at",
            "horse__name",
            "went",
            "passes",
            "quarter_efforts",
        )
    )
