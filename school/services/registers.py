"""The registers an inspector asks for: horses, instructors' papers, incidents."""

from datetime import date, datetime

from django.db import transaction

from school.models import (
    Account,
    Horse,
    HorsePapers,
    Incident,
    Instructor,
    InstructorPaper,
)
from school.queries.registers import TAKEN_OFF
from school.services.audit import record, snapshot


class UnableToNote(ValueError):
    """An entry that is refused, in plain words, and the field."""

    def __init__(self, says: str, field: str) -> None:
        super().__init__(says)
        self.says = says
        self.field = field


def note_horse(
    *, horse: Horse, passport: str, microchip: str, by: Account, now: datetime
) -> HorsePapers:
    """Note a horse's passport and microchip; twice is harmless."""
    values = {"passport": passport.strip(), "microchip": microchip.strip()}
    with transaction.atomic():
        known, _ = HorsePapers.objects.get_or_create(horse=horse)
        before = {name: getattr(known, name) for name in values}
        if before != values:
            HorsePapers.objects.filter(pk=known.pk).update(**values)
            record(
                by=by,
                at=now,
                action="note papers",
                subject=horse,
                before=before,
                after=values,
            )
        known.refresh_from_db()
        return known


def note_paper(
    *,
    instructor: Instructor,
    name: str,
    expires_date: date,
    by: Account,
    now: datetime,
) -> InstructorPaper:
    """Note an instructor's paper, or until when one is renewed; twice is once."""
    if not name.strip():
        raise UnableToNote("Say which paper it is.", "name")
    with transaction.atomic():
        # A second press waits for the first one's paper.
        Instructor.objects.select_for_update().get(pk=instructor.pk)
        known = InstructorPaper.objects.filter(
            instructor=instructor, name__iexact=name.strip()
        ).first()
        before = None if known is None else snapshot(known)
        if known is not None and known.expires_date == expires_date:
            return known
        paper = known or InstructorPaper(instructor=instructor, name=name.strip())
        paper.expires_date = expires_date
        paper.save()
        record(
            by=by,
            at=now,
            action="note paper",
            subject=paper,
            before=before,
            after=snapshot(paper),
        )
        return paper


def take_paper_off(
    *, paper: InstructorPaper, reason: str, by: Account, now: datetime
) -> None:
    """Take a paper off that was noted by mistake or is needed no more; twice is once.

    It holds nobody up any longer; the register goes on showing it, with who and why.
    """
    if not reason.strip():
        raise UnableToNote("Say why the paper is taken off.", "reason")
    with transaction.atomic():
        known = InstructorPaper.objects.select_for_update().filter(pk=paper.pk).first()
        if known is None:
            return
        why = {"reason": reason.strip()[:200]}
        record(
            by=by, at=now, action=TAKEN_OFF, subject=known, before=snapshot(known),
            after=why,
        )  # fmt: skip
        known.delete()


def note_incident(
    *,
    happened_at: datetime,
    who: str,
    where: str,
    what: str,
    by: Account,
    now: datetime,
    horse: Horse | None = None,
    done: str = "",
    witness: str = "",
    adds_to: Incident | None = None,
) -> Incident:
    """Note what went wrong; it stays as it is, what comes later is added to it.

    Told twice in the same words by the same person it is noted once: nothing here
    can be taken back.
    """
    if happened_at > now:
        raise UnableToNote("That moment is still to come.", "happened_at")
    for field, value in (("who", who), ("where", where), ("what", what)):
        if not value.strip():
            raise UnableToNote("Fill this in.", field)
    told = {
        "happened_at": happened_at,
        "who": who.strip(),
        "where": where.strip(),
        "what": what.strip(),
        "done": done.strip(),
        "witness": witness.strip(),
        "horse": horse,
        "adds_to": adds_to and (adds_to.adds_to or adds_to),
        "noted_by": by,
    }
    with transaction.atomic():
        # A second press waits for the first one's entry.
        Account.objects.select_for_update().get(pk=by.pk)
        known = Incident.objects.filter(**told).first()
        if known is not None:
            return known
        incident = Incident.objects.create(**told, noted_at=now)
        # What was told stays in the entry alone: it may speak of somebody's health.
        record(by=by, at=now, action="note incident", subject=incident)
        return incident
