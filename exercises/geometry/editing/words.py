"""Says an edit in plain words, "Second fence up 10 cm" say."""

from exercises.geometry.editing.bounds import slot_name, standing
from exercises.geometry.editing.edits import (
    AddElement,
    Edit,
    ElementEdit,
    MoveElement,
    RemoveElement,
    RemoveStage,
    SetApproach,
    SetAscending,
    SetBothWays,
    SetGap,
    SetGroundLine,
    SetGroundLineOut,
    SetGuides,
    SetGuidesApart,
    SetHeight,
    SetKind,
    SetLevel,
    SetName,
    SetPasses,
    SetRails,
    SetSpread,
    SetVPoles,
    ShiftGap,
    TurnRound,
)
from exercises.geometry.editing.kinds import name_of, ordinal
from exercises.geometry.elements import GroundLine, Kind
from exercises.geometry.spec import ExerciseSpec, Gap, SpecElement
from exercises.geometry.units import METRIC, Units

GAP_WORDS = {
    Gap.BOUNCE: "a bounce",
    Gap.ONE_STRIDE: "one stride",
    Gap.TWO_STRIDES: "two strides",
    Gap.THREE_STRIDES: "three strides",
    Gap.FOUR_STRIDES: "four strides",
    Gap.FIVE_STRIDES: "five strides",
    Gap.TROT_POLES: "trot poles",
    Gap.CANTER_POLES: "canter poles",
    Gap.PLACING_TROT: "a placing pole from trot",
    Gap.PLACING_CANTER: "a placing pole from canter",
    Gap.LANDING: "a landing pole",
    Gap.MID_STRIDE_LANDING: "the middle of a stride, landing side",
    Gap.MID_STRIDE_TAKE_OFF: "the middle of a stride, take-off side",
    Gap.MEASURE: "a measure",
}
"""How a gap is meant, in the trade's words."""

_GROUND_LINES = {
    GroundLine.NONE: "without a ground line",
    GroundLine.TAKE_OFF: "with a ground line in front",
    GroundLine.BOTH: "with a ground line on both sides",
}


def describe(spec: ExerciseSpec, edit: Edit, units: Units = METRIC) -> str:
    """Say what an edit changes.

    Parameters
    ----------
    spec
        The exercise before the edit, which can be made.
    edit
        The change.
    units
        What lengths are written in.
    """
    match edit:
        case AddElement():
            return _capital(f"{_a(edit.kind)} added {_where(spec, edit.at)}")
        case RemoveElement():
            return _capital(f"{name_of(spec.elements, edit.at)} taken out")
        case MoveElement():
            way = "earlier" if edit.to < edit.at else "later"
            name = name_of(spec.elements, edit.at)
            return _capital(f"{name} moved {way}, now {ordinal(edit.to)} in the row")
        case TurnRound():
            return "Row turned round: ridden from the other end"
        case SetGap():
            return _gap(edit, units)
        case ShiftGap():
            which = f"Gap before the {ordinal(edit.before)} element"
            if not edit.by_cm:
                return f"{which} as it is fitted"
            way = "longer" if edit.by_cm > 0 else "shorter"
            return f"{which} {units.short(abs(edit.by_cm))} {way} than its fit"
        case RemoveStage():
            return f"Stage {edit.stage} left out"
        case SetPasses():
            which = f"Stage {edit.stage}" if edit.stage else "The row as built"
            times = "once" if edit.passes == 1 else f"{edit.passes} times"
            return f"{which} ridden {times}"
        case SetApproach():
            return f"Ridden into in {edit.approach.value}"
        case SetBothWays():
            return "Ridden both ways" if edit.both_ways else "Ridden one way"
        case SetLevel():
            return f"Now for {edit.level} riders"
        case SetName():
            return f"Called {edit.name.strip()}"
        case _:
            return _element(spec, edit, units)


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def kind_words(kind: Kind) -> str:
    """Name a kind, "raised pole" say."""
    return kind.value.replace("-", " ")


def _a(kind: Kind) -> str:
    return f"{'an' if kind is Kind.OXER else 'a'} {kind_words(kind)}"


def _where(spec: ExerciseSpec, at: int) -> str:
    if at == len(spec.elements):
        return "at the end of the row"
    return f"before the {name_of(spec.elements, at)}"


def _gap(edit: SetGap, units: Units) -> str:
    which = f"Gap before the {ordinal(edit.before)} element"
    if edit.gap is Gap.MEASURE:
        return f"{which} is {units.length(edit.gap_cm or 0)}"
    return f"{which} meant as {GAP_WORDS[edit.gap]}"


def stage_words(spec: ExerciseSpec, edit: ElementEdit, units: Units = METRIC) -> str:
    """Say an edit of one element without the stage it holds from."""
    stage = min(edit.stage, len(spec.stages))
    one = standing(spec, edit.at, edit.stage)
    name = _capital(slot_name(spec, edit.at, stage))
    return f"{name} {_change(one, edit, units)}"


def _element(spec: ExerciseSpec, edit: ElementEdit, units: Units) -> str:
    words = stage_words(spec, edit, units)
    if edit.stage > len(spec.stages):
        return f"{words}, as a new stage"
    return f"{words}, from stage {edit.stage} on" if edit.stage else words


def _change(one: SpecElement, edit: ElementEdit, units: Units) -> str:
    match edit:
        case SetKind():
            return f"is now {_a(edit.kind)}"
        case SetHeight():
            by = edit.height_cm - one.height_cm
            way = "up" if by >= 0 else "down"
            return f"{way} {units.height_change(by)}"
        case SetSpread():
            by = edit.spread_cm - one.spread_cm
            return f"{units.short(abs(by))} {'wider' if by >= 0 else 'narrower'}"
        case SetAscending():
            return "ascending" if edit.ascending else "level, front as high as back"
        case SetRails():
            if edit.rails is None:
                return "with the usual rails"
            return f"with {edit.rails} rail{'' if edit.rails == 1 else 's'}"
        case SetGroundLine():
            return _GROUND_LINES[edit.ground_line]
        case SetGuides():
            return "with guide rails" if edit.guides else "without guide rails"
        case SetGroundLineOut():
            return f"with its ground line {units.short(edit.out_cm)} away"
        case SetGuidesApart():
            return f"with guide rails {units.short(edit.apart_cm)} apart"
        case SetVPoles():
            if not edit.apart_cm:
                return "without V-poles"
            return f"with V-poles {units.short(edit.apart_cm)} apart"
        case _:
            if edit.leaning is None:
                return "without a leaning pole"
            return f"with a pole leaning on the {edit.leaning}"
