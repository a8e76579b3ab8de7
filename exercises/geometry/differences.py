"""What two states of an exercise differ in: aligned element by element."""

from dataclasses import dataclass
from difflib import SequenceMatcher

from exercises.geometry.spec import ExerciseSpec, FirstStage, SpecElement

TEXTS = (
    ("name", "Name"),
    ("aim", "Aim"),
    ("level", "Level of the riders"),
    ("horse_level", "Level of the horses"),
    ("approach", "Approach"),
    ("both_ways", "Both ways"),
    ("approach_cm", "Room before it"),
    ("runout_cm", "Room after it"),
    ("source", "Source"),
    ("grade", "Grade"),
)
"""Single fields of an exercise, with their names for the reader."""

LISTS = (("faults", "Helps with"), ("cautions", "Cautions"))


@dataclass(frozen=True, slots=True)
class FieldChange:
    """A field that differs: its name for the reader, and both values."""

    name: str
    was: object
    now: object


@dataclass(frozen=True, slots=True)
class ListChange:
    """What a list lost and gained."""

    name: str
    gone: tuple[str, ...]
    new: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ElementChange:
    """An element that differs, by its places before and after (from 0)."""

    was_at: int | None
    now_at: int | None
    was: SpecElement | None
    now: SpecElement | None


@dataclass(frozen=True, slots=True)
class Difference:
    """Everything in which two states of an exercise differ."""

    fields: tuple[FieldChange, ...]
    lists: tuple[ListChange, ...]
    elements: tuple[ElementChange, ...]
    stages_was: tuple[FirstStage, ...]
    stages_now: tuple[FirstStage, ...]

    @property
    def stages(self) -> bool:
        """Whether the row is built up otherwise."""
        return self.stages_was != self.stages_now

    def __bool__(self) -> bool:
        return bool(self.fields or self.lists or self.elements or self.stages)


def difference(was: ExerciseSpec, now: ExerciseSpec) -> Difference:
    """Return what differs between two states of an exercise.

    Elements are aligned so that as many as possible are the same; between those,
    they are paired in order, and what is left over was taken out or added.
    """
    return Difference(
        fields=tuple(
            FieldChange(name, a, b)
            for field, name in TEXTS
            if (a := getattr(was, field)) != (b := getattr(now, field))
        ),
        lists=tuple(
            one
            for field, name in LISTS
            if (one := _list_change(name, getattr(was, field), getattr(now, field)))
        ),
        elements=_elements(was.elements, now.elements),
        stages_was=(was.start, *was.stages),
        stages_now=(now.start, *now.stages),
    )


def _list_change(
    name: str, was: tuple[str, ...], now: tuple[str, ...]
) -> ListChange | None:
    gone = tuple(one for one in was if one not in now)
    new = tuple(one for one in now if one not in was)
    return ListChange(name, gone, new) if gone or new else None


def _elements(
    was: tuple[SpecElement, ...], now: tuple[SpecElement, ...]
) -> tuple[ElementChange, ...]:
    changes: list[ElementChange] = []
    blocks = SequenceMatcher(None, was, now, autojunk=False).get_opcodes()
    for tag, a, a_end, b, b_end in blocks:
        if tag == "equal":
            continue
        pairs = min(a_end - a, b_end - b)
        changes += [
            ElementChange(a + n, b + n, was[a + n], now[b + n]) for n in range(pairs)
        ]
        changes += [
            ElementChange(n, None, was[n], None) for n in range(a + pairs, a_end)
        ]
        changes += [
            ElementChange(None, n, None, now[n]) for n in range(b + pairs, b_end)
        ]
    return tuple(changes)
