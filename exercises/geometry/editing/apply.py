"""Makes an edit: from an exercise to the exercise as it is then."""

from collections.abc import Iterable

from exercises.geometry.editing.edits import (
    AddElement,
    Edit,
    MoveElement,
    RemoveElement,
    RemoveStage,
    SetApproach,
    SetBothWays,
    SetGap,
    SetLevel,
    SetName,
    SetPasses,
    ShiftGap,
    TurnRound,
    UnableToEdit,
)
from exercises.geometry.editing.elements import changed, regapped, shifted
from exercises.geometry.editing.gaps import usual_gap, with_gap
from exercises.geometry.editing.rows import added, moved, removed, turned_round
from exercises.geometry.editing.stages import with_passes, without_stage
from exercises.geometry.editing.words import stage_words
from exercises.geometry.spec import (
    ExerciseSpec,
    Gait,
    Gap,
    read_spec,
    spec_as_data,
)

_BY_GAIT = {
    Gait.TROT: {
        Gap.CANTER_POLES: Gap.TROT_POLES,
        Gap.PLACING_CANTER: Gap.PLACING_TROT,
    },
    Gait.CANTER: {
        Gap.TROT_POLES: Gap.CANTER_POLES,
        Gap.PLACING_TROT: Gap.PLACING_CANTER,
    },
}


def apply(spec: ExerciseSpec, edit: Edit) -> ExerciseSpec:
    """Return the exercise with an edit made.

    Raises
    ------
    UnableToEdit
        Says in words why not and what to do; the exercise is untouched.
    """
    try:
        return read_spec(spec_as_data(_made(spec, edit)))
    except UnableToEdit:
        raise
    except ValueError as error:
        raise UnableToEdit("invalid", f"That can't be built: {error}.") from error


def apply_all(spec: ExerciseSpec, edits: Iterable[Edit]) -> ExerciseSpec:
    """Return the exercise with several edits made, one after the other.

    Raises
    ------
    UnableToEdit
        By the first that can't be made.
    """
    for edit in edits:
        spec = apply(spec, edit)
    return spec


def _made(spec: ExerciseSpec, edit: Edit) -> ExerciseSpec:
    match edit:
        case AddElement():
            return added(spec, edit)
        case RemoveElement():
            return removed(spec, edit)
        case MoveElement():
            return moved(spec, edit)
        case TurnRound():
            return turned_round(spec)
        case SetGap():
            return regapped(spec, edit)
        case ShiftGap():
            return shifted(spec, edit)
        case RemoveStage():
            return without_stage(spec, edit)
        case SetPasses():
            return with_passes(spec, edit)
        case SetApproach():
            return _approached(spec, edit)
        case SetBothWays():
            return spec.model_copy(update={"both_ways": edit.both_ways})
        case SetLevel():
            return spec.model_copy(update={"level": edit.level})
        case SetName():
            return _named(spec, edit)
        case _:
            return changed(spec, edit, stage_words(spec, edit))


def _named(spec: ExerciseSpec, edit: SetName) -> ExerciseSpec:
    name, aim = edit.name.strip(), edit.aim.strip()
    if not 3 <= len(name) <= 120:
        raise UnableToEdit("name", "Give the grid a name of 3 to 120 letters.")
    if not 3 <= len(aim) <= 400:
        raise UnableToEdit("aim", "Say in 3 to 400 letters what the grid is for.")
    return spec.model_copy(update={"name": name, "aim": aim})


def _approached(spec: ExerciseSpec, edit: SetApproach) -> ExerciseSpec:
    """Set the gait; the poles before the first fence are ridden in it too."""
    elements = list(spec.elements)
    meant = [one.kind for one in spec.meant]
    for n, one in enumerate(elements[1:], start=1):
        other = _BY_GAIT[edit.approach].get(one.gap or Gap.MEASURE)
        if other and usual_gap(meant[:n], meant[n], edit.approach) is other:
            elements[n] = with_gap(one, other)
    return spec.model_copy(
        update={"approach": edit.approach, "elements": tuple(elements)}
    )
