"""Working through the reset list, and saying what stands.

Each may be sent twice, from a phone that was without signal: the second time
changes nothing.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from exercises.geometry.elements import Element, GroundLine, InvalidElement, Kind
from scheduling.models import Changeover, ChangeoverMove, DayPlan, Standing
from school.enums import LessonState
from school.models import Account, Lesson, Line
from school.services.audit import record
from school.services.yard_done import off_words, trouble_words

KEYS = frozenset(
    {
        "kind",
        "at_cm",
        "height_cm",
        "spread_cm",
        "rails",
        "ground_line",
        "guides",
        "ascending",
        "faces",
    }
)
"""What a placed element may say."""


class UnableToReset(ValueError):
    """A step on the reset list that is refused, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


class UnableToCorrect(ValueError):
    """A correction of what stands that is refused, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


def start_changeover(
    *, changeover: Changeover, by: Account | None, now: datetime
) -> Changeover:
    """Say that work on a changeover has begun."""
    with transaction.atomic():
        fresh = _current(changeover)
        if fresh.started_at is None:
            _start(fresh, by, now)
        return fresh


def finish_changeover(
    *, changeover: Changeover, by: Account | None, now: datetime, note: str = ""
) -> Changeover:
    """Say that a changeover is done: its line stands as wanted from now on."""
    with transaction.atomic():
        fresh = _current(changeover)
        if fresh.done_at is not None:
            return fresh
        # Done without a start is done; how long it took is not known then, and
        # nothing is learned from it.
        fresh.started_at = fresh.started_at or now
        fresh.done_at = max(now, fresh.started_at)
        fresh.note = note.strip() or fresh.note
        fresh.save(update_fields=["started_at", "done_at", "note"])
        fresh.moves.filter(ticked_at__isnull=True).update(ticked_at=now, ticked_by=by)
        _stands(fresh, now, corrected_by=None)
        record(by=by, at=now, action="finish", subject=fresh, after={"at": str(now)})
        return fresh


def build_stands(*, changeover: Changeover, by: Account | None, now: datetime) -> None:
    """Keep what a changeover builds as what stands, though its list is out of date.

    It counts as a correction, so that the plan made without it is out of date too.
    """
    with transaction.atomic():
        if _stands(changeover, now, corrected_by=by):
            record(by=by, at=now, action="built", subject=changeover)


def _stands(one: Changeover, now: datetime, *, corrected_by: Account | None) -> bool:
    """Say what stands after a changeover, unless something newer was seen there.

    Told late, by a phone that was without signal, it does not undo what was seen on
    the line since.
    """
    if Standing.objects.filter(line=one.line, as_of_at__gt=now).exists():
        return False
    moves = one.moves.order_by("position")
    elements = [move.now for move in moves if move.now is not None]
    Standing.objects.update_or_create(
        line=one.line,
        defaults={
            "elements": elements,
            "as_of_at": now,
            "corrected_by": corrected_by,
        },
    )
    return True


def report_trouble(
    *,
    changeover: Changeover,
    what: str,
    says: str,
    by: Account | None,
    now: datetime,
) -> Changeover:
    """Keep what went otherwise than listed, for the instructor and the manager.

    A line of the changeover's note: `what` as chosen, and what was said of it. The
    same sent twice is kept once.

    Raises
    ------
    UnableToReset
        Where nothing is said, or the plan is another by now.
    """
    line = trouble_words(what, says)
    if not line:
        raise UnableToReset("Say in a few words what is the trouble.")
    with transaction.atomic():
        fresh = _current(changeover)
        lines = fresh.note.splitlines()
        if line in lines:
            return fresh
        fresh.note = "\n".join([*lines, line])
        fresh.save(update_fields=["note"])
        record(by=by, at=now, action="trouble", subject=fresh, after={"says": line})
        return fresh


def tick_move(
    *, move: ChangeoverMove, ticked: bool, by: Account | None, now: datetime
) -> ChangeoverMove:
    """Tick a step off, or take the tick back; the first tick starts the work."""
    with transaction.atomic():
        changeover = _current(move.changeover)
        fresh = ChangeoverMove.objects.select_for_update().get(pk=move.pk)
        if (fresh.ticked_at is not None) == ticked:
            return fresh
        if fresh.ticked_at is not None and fresh.ticked_at > now:
            raise UnableToReset(
                f"It was ticked again at {_clock(fresh.ticked_at)}, after this was "
                "pressed; the tick stays."
            )
        if changeover.done_at is not None:
            raise UnableToReset(
                f"The changeover before {changeover.title} is done; its steps stay "
                "as they are. If something stands otherwise, correct what stands."
            )
        if changeover.started_at is None:
            _start(changeover, by, now)
        fresh.ticked_at = now if ticked else None
        fresh.ticked_by = by if ticked else None
        fresh.save(update_fields=["ticked_at", "ticked_by"])
        record(
            by=by,
            at=now,
            action="tick" if ticked else "untick",
            subject=fresh,
            after={"position": fresh.position},
        )
        return fresh


def correct_standing(
    *,
    line: Line,
    elements: Sequence[Mapping[str, Any]],
    by: Account,
    now: datetime,
) -> Standing:
    """Say what really stands on a line; plans made before then are out of date."""
    placed = sorted(
        (_checked(line, one) for one in elements), key=lambda one: one["at_cm"]
    )
    with transaction.atomic():
        known = Standing.objects.select_for_update().filter(line=line).first()
        if known is not None and known.elements == placed:
            return known
        standing, _ = Standing.objects.update_or_create(
            line=line,
            defaults={"elements": placed, "as_of_at": now, "corrected_by": by},
        )
        record(
            by=by,
            at=now,
            action="correct",
            subject=standing,
            before=None if known is None else {"elements": known.elements},
            after={"elements": placed},
        )
        return standing


def _current(changeover: Changeover) -> Changeover:
    """Lock a changeover; refuse one that nobody should work on any more."""
    fresh = (
        Changeover.objects.select_for_update(of=("self",))
        .select_related(
            "plan", "lesson__state_by__person", "before_work__arena", "line"
        )
        .get(pk=changeover.pk)
    )
    if fresh.plan.state != DayPlan.State.PUBLISHED:
        raise UnableToReset(
            "The day has been ordered anew and this list is out of date. "
            "Open the reset list again."
        )
    if over := over_words(fresh):
        raise UnableToReset(over)
    return fresh


def over_words(changeover: Changeover) -> str:
    """Say why nothing is to be done for a changeover; nothing where there is."""
    lesson, work = changeover.lesson, changeover.before_work
    if lesson is not None and lesson.state == LessonState.CANCELLED:
        return cancelled_words(lesson)
    return off_words(work) if work is not None else ""


def cancelled_words(lesson: Lesson) -> str:
    """Say when a lesson was cancelled and by whom; why is nobody's business here."""
    by = f" by {name_of(lesson.state_by)}" if lesson.state_by else ""
    return (
        f"{lesson} was cancelled at {_clock(lesson.state_at)}{by}: nothing need be "
        "built for it."
    )


def name_of(account: Account | None) -> str:
    """Return what an account's holder is called in the yard."""
    if account is None:
        return "somebody"
    return account.person.first_name if account.person else account.username


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"


def _start(changeover: Changeover, by: Account | None, now: datetime) -> None:
    changeover.started_at = now
    changeover.save(update_fields=["started_at"])
    record(by=by, at=now, action="start", subject=changeover, after={"at": str(now)})


def _checked(line: Line, data: Mapping[str, Any]) -> dict[str, Any]:
    unknown = sorted(data.keys() - KEYS)
    if unknown:
        raise UnableToCorrect(f"An element does not have {unknown[0]!r}.")
    if data.get("faces", "up") not in {"up", "down"}:
        raise UnableToCorrect("An element faces up or down the line.")
    try:
        one = Element(
            kind=Kind(data["kind"]),
            at_cm=int(data["at_cm"]),
            height_cm=int(data.get("height_cm", 0)),
            spread_cm=int(data.get("spread_cm", 0)),
            rails=data.get("rails"),
            ground_line=GroundLine(data.get("ground_line", "none")),
            guides=bool(data.get("guides", False)),
            ascending=bool(data.get("ascending", False)),
        )
    except InvalidElement as error:
        raise UnableToCorrect(f"That can't stand there: {error.says}.") from error
    except (KeyError, TypeError, ValueError) as error:
        raise UnableToCorrect(
            "An element needs a kind and its place in centimetres."
        ) from error
    if one.at_cm < 0 or one.landing_cm > line.length_cm:
        raise UnableToCorrect(
            f"A {one.kind} at {one.at_cm / 100:.2f} m stands beyond the end of "
            f"{line}, which is {line.length_cm / 100:.2f} m long."
        )
    return dict(data)
