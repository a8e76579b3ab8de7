"""Grids in the making: begun, changed step by step, undone, kept or put away."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction
from django.utils.text import slugify

from exercises.convert import spec_of
from exercises.geometry.editing.apply import apply
from exercises.geometry.editing.edits import Edit, UnableToEdit
from exercises.geometry.editing.history import History, Step
from exercises.geometry.editing.words import describe
from exercises.geometry.spec import ExerciseSpec, read_spec
from exercises.geometry.units import METRIC, Units
from exercises.models import Exercise, ExerciseRevision
from exercises.services import make_exercise, revise_exercise
from school.convert import history_of, spec_of_grid, steps_as_data
from school.models import Account, GridDraft, Lesson, LessonGrid
from school.services.audit import record
from school.services.grid_changes import change_grid
from school.services.grids import attach_grid

NEW_NAME = "New grid"
LONGEST_WORDS = 400
LOGGED = 20
"""Versions whose changes are remembered in words, for whoever looks at an older one."""

CAUTION = (
    "Check every distance on the ground before a horse jumps it; the coach decides."
)


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a grid in the making; for a lesson, its grid."""

    exercise: Exercise
    revision: ExerciseRevision
    grid: LessonGrid | None = None


def start_draft(
    *,
    by: Account,
    now: datetime,
    exercise: Exercise | None = None,
    lesson: Lesson | None = None,
) -> GridDraft:
    """Begin to change an exercise or a lesson's grid, or a grid from nothing.

    One that is begun already is returned as it was left: nothing is lost.
    """
    with transaction.atomic():
        begun = _begun(by, exercise, lesson)
        if begun is not None:
            return begun
        grid = (
            LessonGrid.objects.select_related("revision__exercise")
            .filter(lesson=lesson)
            .first()
            if lesson
            else None
        )
        revision = exercise.current if exercise else None
        spec = spec_of(revision) if revision is not None else _from_nothing()
        if grid is not None:
            exercise, revision = grid.revision.exercise, grid.revision
            spec = spec_of_grid(grid)
        draft = GridDraft.objects.create(
            account=by,
            name=spec.name,
            exercise=exercise,
            revision=revision,
            lesson=lesson,
            steps=steps_as_data(History((Step(spec, ""),))),
            made_at=now,
            changed_at=now,
        )
        record(
            by=by,
            at=now,
            action="begin grid",
            subject=draft,
            after={
                "exercise": spec.slug if exercise else "",
                "lesson": lesson.pk if lesson else None,
            },
        )
        return draft


def _begun(
    by: Account, exercise: Exercise | None, lesson: Lesson | None
) -> GridDraft | None:
    drafts = GridDraft.objects.filter(account=by)
    if lesson is not None:
        return drafts.filter(lesson=lesson).first()
    if exercise is not None:
        return drafts.filter(exercise=exercise, lesson__isnull=True).first()
    return None


def _from_nothing() -> ExerciseSpec:
    return read_spec(
        {
            "slug": "new-grid",
            "name": NEW_NAME,
            "aim": "Say what it is for",
            "level": "novice",
            "approach": "trot",
            "elements": [
                {"kind": "pole"},
                {"kind": "cross", "height_cm": 40, "gap": "placing-trot"},
            ],
            "cautions": [CAUTION],
            "source": "The school's own",
            "grade": "own",
        }
    )


def edit_draft(
    *,
    draft: GridDraft,
    edits: Sequence[Edit],
    version: int,
    by: Account,
    now: datetime,
    units: Units = METRIC,
) -> GridDraft:
    """Make edits as one step; what changes nothing is no step.

    Raises
    ------
    UnableToEdit
        For what can't be built, and with code `changed-meanwhile` for a version
        that is not the newest: its words say what another window changed.
    """

    def done(history: History) -> tuple[History, str]:
        spec, words = history.spec, []
        for edit in edits:
            after = apply(spec, edit)
            if after != spec:
                words.append(describe(spec, edit, units))
            spec = after
        if spec == history.spec:
            return history, ""
        says = "; ".join(words)
        return history.did(spec, says), says

    return _change(draft, version, now, done)


def undo_draft(
    *, draft: GridDraft, version: int, by: Account, now: datetime
) -> GridDraft:
    """Go one step back; at the first this is harmless.

    Raises
    ------
    UnableToEdit
        With code `changed-meanwhile`, as when editing.
    """
    return _change(
        draft,
        version,
        now,
        lambda old: (old.undone(), f"Undone: {old.undoes}" if old.undoes else ""),
    )


def redo_draft(
    *, draft: GridDraft, version: int, by: Account, now: datetime
) -> GridDraft:
    """Go one step on again; at the last this is harmless.

    Raises
    ------
    UnableToEdit
        With code `changed-meanwhile`, as when editing.
    """
    return _change(
        draft,
        version,
        now,
        lambda old: (old.redone(), f"Done again: {old.redoes}" if old.redoes else ""),
    )


def _change(
    draft: GridDraft,
    version: int,
    now: datetime,
    change: Callable[[History], tuple[History, str]],
) -> GridDraft:
    with transaction.atomic():
        fresh = _newest(draft, version)
        history, says = change(history_of(fresh))
        if not says:
            return fresh
        fresh.steps = steps_as_data(history)
        fresh.at = history.at
        fresh.name = history.spec.name
        fresh.version += 1
        fresh.log = [*fresh.log, {"version": fresh.version, "says": says}][-LOGGED:]
        fresh.changed_at = now
        fresh.save()
        return fresh


def _newest(draft: GridDraft, version: int) -> GridDraft:
    fresh = (
        GridDraft.objects.select_for_update(of=("self",))
        .select_related("lesson")
        .filter(pk=draft.pk)
        .first()
    )
    if fresh is None:
        raise UnableToEdit(
            "gone", "This grid was kept or put away in another window: begin it again."
        )
    if fresh.version != version:
        since = [one["says"] for one in fresh.log if one["version"] > version]
        raise UnableToEdit(
            "changed-meanwhile",
            f"This grid was changed in another window: {'; '.join(since)}. Nothing of "
            "yours was done: look at it as it is now, and make your change again.",
            version=fresh.version,
        )
    return fresh


def keep_draft(
    *,
    draft: GridDraft,
    version: int,
    by: Account,
    now: datetime,
    as_new: bool = False,
    seen_revision: int | None = None,
    overrides: Mapping[str, str] | None = None,
) -> Kept:
    """Keep a grid as the school's own: a new revision, or a new exercise.

    Earlier revisions stay, those of the library too, and so do past lessons'. For
    a lesson its grid is changed for that lesson alone, or the new one attached.

    Parameters
    ----------
    as_new
        Keep it beside the exercise it began from, under its own name.
    seen_revision
        Number of the exercise's revision its maker has seen, where it is newer
        than the one it began from.
    overrides
        Reasons for what does not fit the lesson, by subject.

    Raises
    ------
    UnableToEdit
        With code `changed-meanwhile`; `needs-name` for a grid without a name of
        its own; `name-taken`; `revised-meanwhile` where somebody else kept a
        revision that its maker has not seen; `other-grid` where the lesson has
        another grid by now.
    UnableToAttach
        For what does not fit the lesson.
    """
    with transaction.atomic():
        fresh = _newest(draft, version)
        history = history_of(fresh)
        spec = _own(history.spec)
        if fresh.exercise_id is None or as_new:
            kept = _attached(_keep_new(spec, by, now), fresh.lesson, by, now, overrides)
        elif fresh.lesson is not None:
            kept = _keep_for_lesson(fresh, fresh.lesson, history, by, now, overrides)
        else:
            kept = _keep_revision(fresh, spec, by, now, seen_revision)
        fresh.delete()
        record(
            by=by,
            at=now,
            action="keep grid",
            subject=kept.exercise,
            after={"revision": kept.revision.number, "steps": fresh.at},
        )
        return kept


def _own(spec: ExerciseSpec) -> ExerciseSpec:
    """Say that a grid is the school's own, and what it was made from."""
    if spec.grade == "own":
        return spec
    source = f"The school's own, made from: {spec.source}"[:300]
    return spec.model_copy(update={"source": source, "grade": "own"})


def _attached(
    kept: Kept,
    lesson: Lesson | None,
    by: Account,
    now: datetime,
    overrides: Mapping[str, str] | None,
) -> Kept:
    if lesson is None:
        return kept
    grid = attach_grid(
        lesson=lesson,
        revision=kept.revision,
        by=by,
        now=now,
        tradition=_tradition(lesson),
        overrides=overrides,
    )
    return replace(kept, grid=grid)


def _keep_new(spec: ExerciseSpec, by: Account, now: datetime) -> Kept:
    if spec.name == NEW_NAME:
        raise UnableToEdit(
            "needs-name", "Give the grid a name first, and say what it is for."
        )
    slug = slugify(spec.name)[:60]
    taken = Exercise.objects.filter(name__iexact=spec.name).exists()
    if taken or len(slug) < 3 or Exercise.objects.filter(slug=slug).exists():
        raise UnableToEdit(
            "name-taken",
            f"There is a grid called {spec.name} already, or one much like it: give "
            "this one another name.",
        )
    revision = make_exercise(
        spec=spec.model_copy(update={"slug": slug}), by=by.username, now=now
    )
    return Kept(revision.exercise, revision)


def _keep_revision(
    draft: GridDraft,
    spec: ExerciseSpec,
    by: Account,
    now: datetime,
    seen: int | None,
) -> Kept:
    exercise = Exercise.objects.select_related("current").get(griddraft=draft)
    current = exercise.current
    if (
        current is not None
        and current.pk != draft.revision_id
        and current.number != seen
    ):
        raise UnableToEdit(
            "revised-meanwhile",
            f"Meanwhile {current.made_by} made revision {current.number} of "
            f"{exercise.name}: look at it, then keep yours after it, or as a new grid.",
            revision=current.number,
        )
    revision = revise_exercise(exercise=exercise, spec=spec, by=by.username, now=now)
    return Kept(exercise, revision)


def _tradition(lesson: Lesson) -> str | None:
    """Return whose distances the lesson's grid has; None takes the school's."""
    grid = LessonGrid.objects.filter(lesson=lesson).first()
    return grid.tradition if grid else None


def _keep_for_lesson(
    draft: GridDraft,
    lesson: Lesson,
    history: History,
    by: Account,
    now: datetime,
    overrides: Mapping[str, str] | None,
) -> Kept:
    """Change the lesson's grid for that lesson alone."""
    now_has = LessonGrid.objects.filter(lesson=lesson, revision=draft.revision_id)
    if not now_has.exists():
        raise UnableToEdit(
            "other-grid",
            f"{lesson.title} has another grid by now: keep this one as a new grid, "
            "under its own name, or put it away.",
        )
    done = "; ".join(one.says for one in history.steps[1 : history.at + 1])
    grid = change_grid(
        lesson=lesson,
        alter=lambda _: history.spec,
        says=done[:LONGEST_WORDS],
        by=by,
        now=now,
        overrides=overrides,
    )
    return Kept(grid.revision.exercise, grid.revision, grid)


def drop_draft(*, draft: GridDraft, by: Account, now: datetime) -> None:
    """Put a grid in the making away; doing it twice is harmless."""
    with transaction.atomic():
        fresh = GridDraft.objects.select_for_update().filter(pk=draft.pk).first()
        if fresh is None:
            return
        record(
            by=by,
            at=now,
            action="drop grid",
            subject=fresh,
            before={"name": fresh.name, "spec": fresh.steps[fresh.at]["spec"]},
        )
        fresh.delete()
