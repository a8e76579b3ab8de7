"""The form of a ride's log: buttons and boxes, nothing that must be typed."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID, uuid4

from django.http import QueryDict

from exercises.drawing.words import element_words
from exercises.geometry.units import Units
from school.convert import BuiltStage
from school.enums import Happened, Went
from school.models import Ride, RideLog
from school.services.ride_logs import Entry, Noted, RodeAs

PASSES = range(1, 9)
"""Passes that have a button; more are typed by nobody in gloves."""

WAYS_CM = (-60, -45, -30, -20, -15, -10, -5, 5, 10, 15, 20, 30, 45, 60)
"""How far a gap may have been moved, as a choice."""


@dataclass(slots=True)
class Filled:
    """What stands in the form: as sent, as logged before, or as usual."""

    token: UUID
    corrects: int
    stage: int
    passes: int
    rides: dict[int, RodeAs] = field(default_factory=dict)
    measured: dict[int, int] = field(default_factory=dict)
    note: str = ""


def usual(stages: Sequence[BuiltStage]) -> Filled:
    """Return the form before anything is entered: all ridden, and good."""
    return Filled(uuid4(), 0, len(stages), min(stages[-1].passes, PASSES[-1]))


def from_log(log: RideLog) -> Filled:
    """Return the form filled with what is logged, to correct it."""
    rides = {}
    for one in log.ridden.all():
        notes = tuple(
            Noted(note.what, note.element, note.often) for note in one.notes.all()
        )
        passes = None if one.passes == log.passes else one.passes
        rides[one.ride_id] = RodeAs(one.ride_id, one.went, passes, notes)
    return Filled(
        uuid4(),
        log.number,
        log.stage,
        log.passes,
        rides,
        {one["gap"]: one["cm"] for one in log.measured},
        log.note,
    )


def read(posted: QueryDict, rides: Sequence[Ride], gaps: Mapping[int, int]) -> Filled:
    """Read a form as it was sent; what is no number is none.

    Parameters
    ----------
    posted
        The form.
    rides
        Of the lesson.
    gaps
        As built [cm], by the element they are before.
    """
    measured = {}
    for gap, built_cm in gaps.items():
        off_cm = _number(posted.get(f"gap-{gap}", ""), 0)
        if off_cm:
            measured[gap] = built_cm + off_cm
    stage = _number(posted.get("stage", ""), 0)
    return Filled(
        token=_token(posted.get("token", "")),
        corrects=_number(posted.get("corrects", ""), 0),
        stage=stage,
        passes=_number(posted.get("passes", ""), 0) if stage else 0,
        rides={one.pk: _read_ride(posted, one.pk) for one in rides},
        measured=measured,
        note=posted.get("note", ""),
    )


def entry_of(filled: Filled) -> Entry:
    """Return what the service is asked to log."""
    return Entry(
        token=filled.token,
        corrects=filled.corrects,
        stage=filled.stage,
        passes=filled.passes,
        rides=tuple(filled.rides.values()),
        measured=filled.measured,
        note=filled.note,
    )


def _read_ride(posted: QueryDict, pk: int) -> RodeAs:
    notes: list[Noted] = []
    for n, what in enumerate(Happened.values):
        if not posted.get(f"ride-{pk}-{n}"):
            continue
        often = bool(posted.get(f"ride-{pk}-{n}-often"))
        at = [_number(one, 0) for one in posted.getlist(f"ride-{pk}-{n}-at")]
        notes += [Noted(what, one, often) for one in at]
        if not at:
            notes.append(Noted(what, None, often))
    passes = posted.get(f"ride-{pk}-passes", "")
    return RodeAs(
        pk,
        posted.get(f"ride-{pk}-went") or Went.GOOD,
        _number(passes, 0) if passes else None,
        tuple(notes),
    )


def _token(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        return uuid4()


def _number(text: str, otherwise: int) -> int:
    return int(text) if re.fullmatch(r"-?\d{1,5}", text) else otherwise


def shown(
    filled: Filled,
    stages: Sequence[BuiltStage],
    rides: Sequence[Ride],
    gaps: Mapping[int, int],
    units: Units,
) -> dict[str, Any]:
    """Return the form as the template shows it."""
    return {
        "token": filled.token,
        "corrects": filled.corrects,
        "note": filled.note,
        "stages": [
            {"number": n, "says": one.says, "on": n == filled.stage}
            for n, one in enumerate(stages, start=1)
        ],
        "not_jumped": filled.stage == 0,
        "passes": [{"number": n, "on": n == filled.passes} for n in PASSES],
        "rides": [
            _ride_shown(one, filled.rides.get(one.pk, RodeAs(one.pk)), stages, units)
            for one in rides
        ],
        "gaps": [
            {
                "number": gap,
                "built": units.length(built_cm),
                "choices": _gap_choices(built_cm, filled.measured.get(gap), units),
            }
            for gap, built_cm in gaps.items()
        ],
        "measured": bool(filled.measured),
    }


def _gap_choices(
    built_cm: int, measured_cm: int | None, units: Units
) -> list[dict[str, Any]]:
    """Return how far a gap may have been moved, with what is logged among them."""
    offs = set(WAYS_CM)
    if measured_cm is not None:
        offs |= {measured_cm - built_cm} - {0}
    return [
        {
            "off": off_cm,
            "words": f"{units.length(built_cm + off_cm)}, {_off_words(off_cm, units)}",
            "on": measured_cm == built_cm + off_cm,
        }
        for off_cm in sorted(offs)
    ]


def _off_words(off_cm: int, units: Units) -> str:
    """Say which way a gap was moved, and by how much."""
    return f"{units.short(abs(off_cm))} {'longer' if off_cm > 0 else 'shorter'}"


def _ride_shown(
    ride: Ride, rode: RodeAs, stages: Sequence[BuiltStage], units: Units
) -> dict[str, Any]:
    elements = [
        (n, f"{n}. {element_words(one, units).split(',')[0]}")
        for n, one in enumerate(stages[-1].elements, start=1)
    ]
    faults = []
    for n, what in enumerate(Happened):
        its = [one for one in rode.notes if one.what == what.value]
        at = {one.element for one in its}
        faults.append(
            {
                "number": n,
                "label": what.label,
                "on": bool(its),
                "often": any(one.often for one in its),
                "elements": [
                    {"number": m, "words": words, "on": m in at}
                    for m, words in elements
                ],
            }
        )
    return {
        "ride": ride,
        "went": [
            {"value": one.value, "label": one.label, "on": one.value == rode.went}
            for one in Went
        ],
        "passes": [{"number": n, "on": n == rode.passes} for n in PASSES],
        "faults": faults,
        "open": bool(rode.notes) or rode.passes is not None,
    }
