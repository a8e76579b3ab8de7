"""Lessons from a table, each booked or moved by the rules of every booking."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from school.enums import RideState
from school.models import Arena, Horse, Instructor, Lesson, OwnReference, Ride, Rider
from school.queries.schools import school_zone
from school.queries.tables import HERE, PAIR, held_lessons
from school.services.audit import record, snapshot
from school.services.booking import book_lesson
from school.services.bringing.fates import (
    CHANGED,
    NEW,
    REFUSED,
    SAME,
    Fate,
    Hand,
    Known,
    Refused,
    changes_of,
    check_faults,
    check_needed,
)
from school.services.checks import check_leaders
from school.services.invitations import lesson_changed
from school.services.lessons import Move, move_lessons
from school.services.refusals import UnableToBook, clock
from school.services.rides import add_ride, change_horse
from school.tables.cells import same_name
from school.tables.columns import REFERENCE, Kind, Row

Pair = tuple[Rider, Horse | None]

_NAMES = {"title": "title", "places": "places"}


def bring_lessons(rows: Sequence[Row], hand: Hand) -> list[Fate]:
    """Book, move and fill the lessons that can be; a refused row changes nothing.

    A lesson is found by the school's own reference, else by its start and arena.
    Riders are added and given horses, never taken out: that is said on the lesson's
    own page, since a client is told of it.
    """
    bringing = _Lessons(hand)
    return [bringing.fate(row) for row in rows]


class _Lessons:
    def __init__(self, hand: Hand) -> None:
        self.hand, self.zone = hand, school_zone()
        self.known = Known.of("lesson")
        lessons = list(held_lessons())
        self.here = {one.pk: one for one in lessons}
        self.by_place = {(one.starts_at, one.arena_id): one for one in lessons}
        self.arenas = _by_name(Arena.objects.order_by("pk"))
        self.horses = _by_name(Horse.objects.order_by("pk"))
        self.teachers = _by_name(
            Instructor.objects.select_related("person").order_by("pk")
        )
        self.riders = _by_name(
            Rider.objects.select_related("person", "client__person").order_by("pk")
        )
        self.of_rider, self.of_horse = Known.of("rider"), Known.of("horse")

    def fate(self, row: Row) -> Fate:
        try:
            with transaction.atomic():
                return self._fate(row)
        except Refused as refusal:
            return Fate(row.number, REFUSED, str(refusal))
        except UnableToBook as refusal:
            return Fate(row.number, REFUSED, refusal.says)

    def _fate(self, row: Row) -> Fate:
        check_faults(row)
        lesson = self._find(row)
        if lesson is None:
            check_needed(Kind.LESSONS, row)
            return self._book(row)
        return self._change(row, lesson)

    def _start(self, row: Row, lesson: Lesson | None = None) -> datetime:
        local = lesson.starts_at.astimezone(self.zone) if lesson else None
        day = row.values.get("date") or (local and local.date())
        at = row.values.get("start") or (local and local.time())
        return datetime.combine(day, at, tzinfo=self.zone)  # type: ignore[arg-type]

    def _find(self, row: Row) -> Lesson | None:
        key = self.known.key_by_reference(row)
        if key is not None:
            if key not in self.here:
                raise Refused(
                    f"There is no lesson {row.values[REFERENCE]} here that is still "
                    "to be held. Leave the reference empty for a new one."
                )
            return self.here[key]
        if not {"date", "start", "arena"} <= row.values.keys():
            return None
        arena = _one(self.arenas, row.values["arena"], "arena")
        return self.by_place.get((self._start(row), arena.pk))

    def _book(self, row: Row) -> Fate:
        values: dict[str, Any] = dict(row.values)
        reference = self.known.new_reference(row, None, "")
        marks = [("reference", reference)] if reference else []
        self.known.once(row, *marks)
        pairs = self._pairs(row)
        lesson = book_lesson(
            title=values["title"],
            kind=values["kind"],
            work=values["work"],
            starts_at=self._start(row),
            minutes=values["minutes"],
            arena=_one(self.arenas, values["arena"], "arena"),
            instructor=_one(self.teachers, values["instructor"], "instructor"),
            places=values.get("places", max(1, len(pairs))),
            rides=pairs,
            by=self.hand.by,
            now=self.hand.now,
            tell=self._tells(self._start(row)),
        )
        self.known.once(row, lesson.pk)
        # A later row with this start and arena speaks of this lesson.
        self.by_place[lesson.starts_at, lesson.arena_id] = lesson
        if reference:
            OwnReference.objects.create(text=reference, lesson=lesson)
        return Fate(row.number, NEW, ", ".join(str(rider) for rider, _ in pairs))

    def _tells(self, starts_at: datetime) -> bool:
        return self.hand.tell and starts_at > self.hand.now

    def _change(self, row: Row, lesson: Lesson) -> Fate:
        reference = self.known.new_reference(row, lesson.pk, lesson.title)
        self.known.once(row, lesson.pk)
        for key, here in (("work", lesson.work), ("kind", lesson.kind)):
            # By both a lesson's riders, horses and leaders were looked at.
            if row.values.get(key, here) != here:
                raise Refused(
                    f"{lesson.title} is booked as {here}. A file does not make it "
                    f"another {key}: cancel it, and book it anew."
                )
        said = self._reword(row, lesson)
        said += self._move(row, lesson)
        said += self._seat(row, lesson)
        if reference:
            OwnReference.objects.create(text=reference, lesson=lesson)
            said.append(f"reference {reference}")
        self._now_stands(row, lesson)
        return Fate(row.number, CHANGED if said else SAME, "; ".join(said))

    def _now_stands(self, row: Row, lesson: Lesson) -> None:
        """Let later rows find a lesson where it was moved to, and not where it was."""
        was = lesson.starts_at, lesson.arena_id
        name = row.values.get("arena", lesson.arena.name)
        now = self._start(row, lesson), _one(self.arenas, name, "arena").pk
        if was != now:
            self.by_place.pop(was, None)
            self.by_place[now] = lesson

    def _reword(self, row: Row, lesson: Lesson) -> list[str]:
        fresh = Lesson.objects.get(pk=lesson.pk)
        taken = len(held_rides(lesson))
        if int(str(row.values.get("places", 12))) < taken:
            raise Refused(f"{lesson.title} has {taken} riders already.")
        if int(str(row.values.get("places", fresh.places))) > fresh.places:
            check_leaders(
                fresh.kind, fresh.starts_at, fresh.ends_at,
                places=int(str(row.values["places"])), but=[fresh.pk],
            )  # fmt: skip
        before = snapshot(fresh)
        said = changes_of(Kind.LESSONS, fresh, row.values, _NAMES)
        if said:
            fresh.changed_at, fresh.version = self.hand.now, fresh.version + 1
            fresh.save()
            record(
                by=self.hand.by, at=self.hand.now, action="bring in", subject=fresh,
                before=before, after=snapshot(fresh),
            )  # fmt: skip
            if self._tells(fresh.starts_at):
                lesson_changed(lesson=fresh, now=self.hand.now)
        return said

    def _move(self, row: Row, lesson: Lesson) -> list[str]:
        starts_at, minutes = self._start(row, lesson), row.values.get("minutes")
        length = lesson.ends_at - lesson.starts_at
        wanted = timedelta(minutes=int(str(minutes))) if minutes else length
        arena = _one(self.arenas, row.values.get("arena", lesson.arena.name), "arena")
        who = row.values.get("instructor")
        teacher = _one(self.teachers, who, "instructor") if who else lesson.instructor
        said = []
        if starts_at != lesson.starts_at:
            said.append(f"{clock(lesson.starts_at)} → {clock(starts_at)}")
        if wanted != length:
            said.append(f"Minutes {length.seconds // 60} → {wanted.seconds // 60}")
        if arena.pk != lesson.arena_id:
            said.append(f"Arena {lesson.arena} → {arena}")
        if teacher.pk != lesson.instructor_id:
            said.append(f"Instructor {lesson.instructor} → {teacher}")
        if said:
            move = Move(lesson, starts_at, arena, wanted.seconds // 60, teacher)
            tell = self._tells(min(starts_at, lesson.starts_at))
            move_lessons(moves=[move], by=self.hand.by, now=self.hand.now, tell=tell)
        return said

    def _seat(self, row: Row, lesson: Lesson) -> list[str]:
        """Add riders and give horses as the row says; refuse to take anybody out."""
        if "riders" not in row.values:
            return []
        pairs, here = (
            self._pairs(row),
            {one.rider_id: one for one in held_rides(lesson)},
        )
        said = []
        named = {rider.pk for rider, _ in pairs}
        for ride in here.values():
            if ride.rider_id not in named:
                raise Refused(
                    f"{ride.rider} is in {lesson.title} and not in the row. Riders "
                    "are taken out on the lesson's page."
                )
        for rider, horse in pairs:
            there = here.get(rider.pk)
            tell = self._tells(lesson.starts_at)
            if there is None:
                add_ride(
                    lesson=lesson, rider=rider, horse=horse, by=self.hand.by,
                    now=self.hand.now, tell=tell,
                )  # fmt: skip
                said.append(f"{rider} joins" + (f" on {horse}" if horse else ""))
            elif horse is not None and there.horse_id != horse.pk:
                change_horse(
                    ride=there, horse=horse, by=self.hand.by, now=self.hand.now
                )
                said.append(f"{rider} rides {horse}")
        return said

    def _pairs(self, row: Row) -> list[Pair]:
        """Read "Rider / Horse; Rider / Horse"; a name may be a reference instead."""
        pairs: list[Pair] = []
        for part in str(row.values.get("riders", "")).split(";"):
            who, _, on = part.partition(PAIR.strip())
            if not part.strip():
                continue
            rider = _said(who, self.riders, self.of_rider, "rider")
            horse = (
                _said(on, self.horses, self.of_horse, "horse") if on.strip() else None
            )
            if any(rider.pk == one.pk for one, _ in pairs):
                raise Refused(f"{rider} is named twice.")
            pairs.append((rider, horse))
        return pairs


def held_rides(lesson: Lesson) -> list[Ride]:
    """Return the booked rides of a lesson that was fetched with them."""
    rides: list[Ride] = getattr(lesson, "booked_rides", None) or [
        *lesson.rides.filter(state=RideState.BOOKED).select_related("rider__person")
    ]
    return rides


def _by_name(things: Iterable[Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for one in things:
        found.setdefault(same_name(str(one)), []).append(one)
    return found


def _one(things: dict[str, list[Any]], name: object, what: str) -> Any:
    found = things.get(same_name(str(name)), [])
    if not found:
        raise Refused(f"There is no {what} called {name} here.")
    if len(found) > 1:
        raise Refused(
            f"{len(found)} have the name {name}. Write [{HERE}…] as the written file "
            "has it."
        )
    return found[0]


def _said(words: str, things: dict[str, list[Any]], known: Known, what: str) -> Any:
    words = words.strip()
    if not (words.startswith("[") and words.endswith("]")):
        return _one(things, words, what)
    text = words[1:-1]
    key = known.key_by_reference(Row(0, {REFERENCE: text}, ()))
    for found in things.values():
        for one in found:
            if one.pk == key:
                return one
    raise Refused(f"There is no {what} {words} here.")
