"""What is posted from the page of a grid in the making, as edits."""

from collections.abc import Callable, Mapping

from exercises.geometry.editing.edits import (
    AddElement,
    Edit,
    MoveElement,
    RemoveElement,
    RemoveStage,
    SetApproach,
    SetAscending,
    SetBothWays,
    SetGap,
    SetGroundLine,
    SetGuides,
    SetHeight,
    SetKind,
    SetName,
    SetPasses,
    SetSpread,
    TurnRound,
    UnableToEdit,
    edit_from_data,
)
from exercises.geometry.elements import FLAT, GroundLine, Kind
from exercises.geometry.lengths import InvalidLength
from exercises.geometry.spec import ExerciseSpec, Gait, Gap, SpecElement
from exercises.geometry.units import Units

Posted = Mapping[str, str]


def edits_of(spec: ExerciseSpec, posted: Posted, units: Units) -> list[Edit]:
    """Return the edits a posted form asks for.

    Raises
    ------
    UnableToEdit
        For what is no edit, or no number.
    """
    do = posted.get("do", "")
    if do not in _FORMS:
        raise UnableToEdit(
            "no-edit", "That change is not understood: load the page again."
        )
    try:
        return _FORMS[do](spec, posted, units)
    except UnableToEdit:
        raise
    except (ValueError, KeyError) as error:
        raise UnableToEdit(
            "no-edit",
            "A field holds what it should not: choose again, or load the page again.",
        ) from error


def _number(posted: Posted, name: str) -> int:
    return int(posted.get(name, ""))


def _standing(spec: ExerciseSpec, posted: Posted) -> SpecElement:
    stage = min(_number(posted, "stage"), len(spec.stages))
    return spec.played[stage][_number(posted, "at")]


def _length(read: Callable[[str], int], text: str, what: str) -> int:
    try:
        return read(text)
    except InvalidLength as error:
        raise UnableToEdit("no-length", f"{what}: {error}.") from error


def _element(spec: ExerciseSpec, posted: Posted, units: Units) -> list[Edit]:
    """Return what differs from the element as it stands."""
    at, stage = _number(posted, "at"), _number(posted, "stage")
    one = _standing(spec, posted)
    edits: list[Edit] = []
    kind = Kind(posted["kind"])
    if kind is not one.kind:
        edits.append(SetKind(at, kind, stage))
    height, was = posted.get("height", ""), units.height(one.height_cm)
    if height.strip() and height != was and kind not in FLAT:
        edits.append(SetHeight(at, _length(units.read_height, height, "Height"), stage))
    spread = posted.get("spread", "")
    if spread.strip() and spread != units.short(one.spread_cm) and kind is Kind.OXER:
        edits.append(SetSpread(at, _length(units.read_short, spread, "Width"), stage))
    line = GroundLine(posted.get("ground_line", one.ground_line))
    if line is not one.ground_line:
        edits.append(SetGroundLine(at, line, stage))
    guides = posted.get("guides") == "on"
    if guides is not one.guides:
        edits.append(SetGuides(at, guides, stage))
    ascending = posted.get("ascending") == "on" and kind is Kind.OXER
    if ascending is not (one.ascending and kind is Kind.OXER):
        edits.append(SetAscending(at, ascending, stage))
    return edits


def _height_by(spec: ExerciseSpec, posted: Posted, units: Units) -> list[Edit]:
    one = _standing(spec, posted)
    height_cm = one.height_cm + _number(posted, "by_cm")
    return [SetHeight(_number(posted, "at"), height_cm, _number(posted, "stage"))]


def _gap(spec: ExerciseSpec, posted: Posted, units: Units) -> list[Edit]:
    """Return a gap's new meaning; a length that was typed makes it a measure."""
    at, gap = _number(posted, "at"), Gap(posted["gap"])
    text, was = posted.get("length", "").strip(), posted.get("was", "").strip()
    if text != was or gap is Gap.MEASURE:
        if not text:
            return [SetGap(at, Gap.MEASURE)]
        cm = _length(units.read_length, text, f"Gap {at}")
        return [SetGap(at, Gap.MEASURE, cm)]
    return [SetGap(at, gap)]


def _add(spec: ExerciseSpec, posted: Posted, units: Units) -> list[Edit]:
    return [AddElement(_number(posted, "at"), Kind(posted["kind"]))]


def _row(spec: ExerciseSpec, posted: Posted, units: Units) -> list[Edit]:
    """Return what differs in the facts of the whole grid."""
    edits: list[Edit] = []
    name, aim = posted.get("name", "").strip(), posted.get("aim", "").strip()
    if (name, aim) != (spec.name, spec.aim):
        edits.append(SetName(name, aim))
    if posted["level"] != spec.level:
        edits.append(edit_from_data({"do": "level", "level": posted["level"]}))
    if posted["approach"] != spec.approach:
        edits.append(SetApproach(Gait(posted["approach"])))
    both_ways = posted.get("both_ways") == "on"
    if both_ways is not spec.both_ways:
        edits.append(SetBothWays(both_ways))
    return edits


_Form = Callable[[ExerciseSpec, Posted, Units], list[Edit]]
_FORMS: dict[str, _Form] = {
    "element": _element,
    "height": _height_by,
    "gap": _gap,
    "add": _add,
    "row": _row,
    "remove": lambda _, posted, __: [RemoveElement(_number(posted, "at"))],
    "earlier": lambda _, posted, __: [
        MoveElement(_number(posted, "at"), _number(posted, "at") - 1)
    ],
    "later": lambda _, posted, __: [
        MoveElement(_number(posted, "at"), _number(posted, "at") + 1)
    ],
    "turn": lambda _, __, ___: [TurnRound()],
    "remove-stage": lambda _, posted, __: [RemoveStage(_number(posted, "stage"))],
    "passes": lambda _, posted, __: [
        SetPasses(_number(posted, "stage"), _number(posted, "passes"))
    ],
}
