"""Instructors from a table: what they teach, their hours, their papers."""

from collections.abc import Sequence
from datetime import date, time
from typing import Any, cast

from school.models import (
    AuditEntry,
    Instructor,
    InstructorHours,
    InstructorPaper,
    Person,
)
from school.queries.tables import hours_of
from school.services.audit import entry_of, snapshot
from school.services.bringing.fates import (
    CHANGED,
    NEW,
    SAME,
    Fate,
    Hand,
    Known,
    Refused,
    as_one_name,
    changes_of,
    check_faults,
    check_needed,
    judged,
    write_down,
)
from school.tables.cells import (
    dated_papers_as_cell,
    same_name,
    weekly_hours_as_cell,
)
from school.tables.columns import REFERENCE, Kind, Row

_PERSON = {key: key for key in ("first_name", "last_name", "email", "phone")}
_TEACHES = {key: key for key in ("level", "highest_fence_cm", "group_limit")}

Hours = tuple[tuple[int, time, time], ...]


def bring_instructors(rows: Sequence[Row], hand: Hand) -> list[Fate]:
    """Bring in the rows that can be; the caller's transaction decides whether to stay.

    An instructor is found by the school's own reference, else by name. A cell of hours
    is the whole week; papers are added and renewed, never taken away. Queries do not
    grow with the rows.
    """
    bringing = _Instructors(hand)
    fates = [bringing.fate(row) for row in rows]
    bringing.write()
    return fates


class _Instructors:
    def __init__(self, hand: Hand) -> None:
        self.hand = hand
        self.known = Known.of("instructor")
        teachers = Instructor.objects.select_related("person").prefetch_related(
            "hours", "papers"
        )
        self.here = {one.pk: one for one in teachers.order_by("pk")}
        self.by_name: dict[str, list[Instructor]] = {}
        for one in self.here.values():
            self.by_name.setdefault(same_name(str(one)), []).append(one)
        # Who rides or is written to here, and teaches too, is one person.
        self.others = {
            (same_name(str(one)), same_name(one.email)): one
            for one in Person.objects.exclude(email="").order_by("-pk")
        }
        self.new: list[Instructor] = []
        self.people: list[Person] = []
        self.changed: list[tuple[Instructor, dict[str, Any]]] = []
        self.hours: list[tuple[Instructor, Hours]] = []
        self.papers: list[tuple[InstructorPaper, dict[str, Any] | None]] = []

    def fate(self, row: Row) -> Fate:
        return judged(row, self._fate)

    def _fate(self, row: Row) -> Fate:
        check_faults(row)
        found = self._find(row)
        return self._add(row) if found is None else self._change(row, found)

    def _find(self, row: Row) -> Instructor | None:
        key = self.known.key_by_reference(row)
        if key is not None:
            if key not in self.here:
                raise Refused(
                    f"There is no instructor {row.values[REFERENCE]} here. Leave the "
                    "reference empty for a new one."
                )
            return self.here[key]
        name = as_one_name(
            row.values.get("first_name", ""), row.values.get("last_name", "")
        )
        found = self.by_name.get(name, [])
        if len(found) > 1:
            raise Refused(
                f"{len(found)} instructors have this name. Say which by the reference "
                "that the written file has."
            )
        return found[0] if found else None

    def _add(self, row: Row) -> Fate:
        check_needed(Kind.INSTRUCTORS, row)
        values = row.values
        reference = self.known.new_reference(row, None, "")
        name = as_one_name(values["first_name"], values.get("last_name", ""))
        marks: list[object] = [("name", name)]
        self.known.once(row, *marks, *([("reference", reference)] if reference else []))
        own = _fields(values, _PERSON)
        person = self.others.get((name, same_name(str(own.get("email", "")))))
        said = "" if person is None else "known here already"
        if person is None:
            person = Person(**own)
            self.people.append(person)
        teacher = Instructor(person=person, **_fields(values, _TEACHES))
        self.new.append(teacher)
        self.known.refer(reference, teacher)
        self._set_hours(row, teacher, ())
        self._set_papers(row, teacher, {})
        return Fate(row.number, NEW, said)

    def _change(self, row: Row, teacher: Instructor) -> Fate:
        reference = self.known.new_reference(row, teacher.pk, str(teacher))
        self.known.once(row, teacher.pk)
        before = snapshot(teacher) | _plain(teacher.person)
        said = changes_of(Kind.INSTRUCTORS, teacher.person, row.values, _PERSON)
        said += changes_of(Kind.INSTRUCTORS, teacher, row.values, _TEACHES)
        if said:
            self.changed.append((teacher, before))
        said += self._set_hours(row, teacher, hours_of(teacher))
        papers = {one.name: one for one in teacher.papers.all()}
        said += self._set_papers(row, teacher, papers)
        self.known.refer(reference, teacher)
        if reference:
            said.append(f"reference {reference}")
        return Fate(row.number, CHANGED if said else SAME, "; ".join(said))

    def _set_hours(self, row: Row, teacher: Instructor, old: Hours) -> list[str]:
        wanted = row.values.get("hours")
        if wanted is None or wanted == old:
            return []
        hours = cast("Hours", wanted)
        self.hours.append((teacher, hours))
        was = weekly_hours_as_cell(old) or "nothing"
        return [f"Hours {was} → {weekly_hours_as_cell(hours)}"]

    def _set_papers(
        self, row: Row, teacher: Instructor, known: dict[str, InstructorPaper]
    ) -> list[str]:
        wanted = row.values.get("papers")
        if wanted is None:
            return []
        said = []
        for name, last in cast("tuple[tuple[str, date], ...]", wanted):
            paper = known.get(name)
            if paper is not None and paper.expires_date == last:
                continue
            before = None if paper is None else snapshot(paper)
            if paper is None:
                paper = InstructorPaper(instructor=teacher, name=name)
            paper.expires_date = last
            self.papers.append((paper, before))
            said.append(dated_papers_as_cell([(name, last)]))
        return said

    def write(self) -> None:
        Person.objects.bulk_create(self.people, batch_size=200)
        Instructor.objects.bulk_create(self.new, batch_size=200)
        teachers = [one for one, _ in self.changed]
        Person.objects.bulk_update(
            [one.person for one in teachers], list(_PERSON), batch_size=50
        )
        Instructor.objects.bulk_update(teachers, list(_TEACHES), batch_size=50)
        InstructorHours.objects.filter(
            instructor__in=[one for one, _ in self.hours]
        ).delete()
        InstructorHours.objects.bulk_create(
            [
                InstructorHours(instructor=one, weekday=day, from_at=begin, to_at=end)
                for one, hours in self.hours
                for day, begin, end in hours
            ],
            batch_size=200,
        )
        InstructorPaper.objects.bulk_create(
            [one for one, before in self.papers if before is None], batch_size=200
        )
        InstructorPaper.objects.bulk_update(
            [one for one, before in self.papers if before is not None],
            ["expires_date"],
            batch_size=50,
        )
        write_down(self._entries(), self.known)

    def _entries(self) -> list[AuditEntry]:
        by, at = self.hand.by, self.hand.now
        known: list[tuple[Instructor, dict[str, Any] | None]] = [
            *((one, None) for one in self.new),
            *self.changed,
        ]
        return [
            *(
                entry_of(
                    by=by, at=at, action="bring in", subject=one, before=before,
                    after=snapshot(one) | _plain(one.person),
                )
                for one, before in known
            ),
            *(
                entry_of(
                    by=by, at=at, action="set hours", subject=one,
                    after={"hours": weekly_hours_as_cell(hours)},
                )
                for one, hours in self.hours
            ),
            *(
                entry_of(
                    by=by, at=at, action="note paper", subject=one, before=before,
                    after=snapshot(one),
                )
                for one, before in self.papers
            ),
        ]  # fmt: skip


def _plain(person: Person) -> dict[str, Any]:
    return {key: getattr(person, key) for key in _PERSON}


def _fields(values: Any, names: dict[str, str]) -> dict[str, Any]:
    return {name: values[key] for key, name in names.items() if key in values}
