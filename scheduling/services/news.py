"""What is new on a reset list since somebody looked at it, row by row.

Told by the rows of the list in the hand, also where the day has been ordered anew
since: nothing there need change its place to be kept up to date.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from scheduling.changeover.alike import difference, same_steps, same_work
from scheduling.convert.changeovers import listed, step_key
from scheduling.models import Changeover, ChangeoverMove, DayPlan
from scheduling.queries.changeovers import changeovers_of_plan
from scheduling.queries.plans import published_plan
from scheduling.services.changeovers import over_words
from scheduling.wording import move_words
from school.convert import units_of
from school.models import YardWork
from school.queries.schools import the_school
from school.queries.yard import yard_work_of_day
from school.services.yard_done import off_words


@dataclass(frozen=True, slots=True)
class Row:
    """A changeover of the list in the hand, as it is by now.

    `over` says why nothing is to be done for it any more; `changed` what it has
    otherwise in the newest plan, where it is `now_pk`. Steps are named as on the
    list in the hand.
    """

    pk: int
    now_pk: int | None
    name: str
    started_at: datetime | None
    done_at: datetime | None
    note: tuple[str, ...]
    over: str
    changed: tuple[str, ...]
    ticked: dict[int, bool]


@dataclass(frozen=True, slots=True)
class News:
    """A day's list as it is by now, told to who holds one of its plans."""

    plan: int | None
    rows: tuple[Row, ...]
    added: tuple[str, ...]
    published_at: datetime | None
    works: tuple[YardWork, ...] = ()

    @property
    def words(self) -> tuple[str, ...]:
        """What is otherwise than on the list in the hand, a line for each thing."""
        changed = tuple(
            f"{one.name}: {one.over or ' '.join(one.changed)}"
            for one in self.rows
            if one.over or one.changed
        )
        return changed + self.added


def news_of_day(day: date, held: int | None = None) -> News:
    """Return a day's list as it is by now.

    Parameters
    ----------
    day
        Of the list.
    held
        The plan whose list is in the hand; None for the newest.
    """
    works = tuple(yard_work_of_day(day))
    plan = published_plan(day)
    if plan is None:
        return News(None, (), (), None, works)
    new = changeovers_of_plan(plan)
    former = DayPlan.objects.filter(pk=held, date=day).first() if held else None
    old = new if former is None or former == plan else changeovers_of_plan(former)
    pairs = same_work([listed(one) for one in old], [listed(one) for one in new])
    rows = tuple(
        _row(one, new[pairs[n]] if n in pairs else None) for n, one in enumerate(old)
    )
    fresh = [one for n, one in enumerate(new) if n not in set(pairs.values())]
    return News(
        plan.pk,
        rows,
        tuple(
            f"New: {_span(one)}, {one.line.arena.name}, {one.line.name}, "
            f"{one.before_or_for} {one.title}."
            for one in fresh
            if not over_words(one)
        ),
        plan.published_at,
        works,
    )


def _row(old: Changeover, new: Changeover | None) -> Row:
    one = new or old
    over = over_words(one)
    if not over and new is None:
        over = "The plan was changed: this is no longer on the list."
    before, after = list(old.moves.all()), list(one.moves.all())
    kept = same_steps([step_key(m) for m in before], [step_key(m) for m in after])
    return Row(
        pk=old.pk,
        now_pk=new.pk if new else None,
        name=f"{clock(old.starts_at)} {old.before_or_for} {old.title}",
        started_at=one.started_at,
        done_at=one.done_at,
        note=tuple(one.note.splitlines()),
        over=over,
        changed=() if over else tuple(change_words(old, one)),
        ticked={before[n].pk: after[m].ticked_at is not None for n, m in kept.items()},
    )


def change_words(old: Changeover, new: Changeover) -> list[str]:
    """Say what a changeover has otherwise than it had in an older plan."""
    found = difference(listed(old), listed(new))
    words = []
    if found.moved:
        words.append(f"Now {_span(new)} instead of {_span(old)}.")
    if found.given:
        who = new.who.person.first_name if new.who else "nobody yet"
        words.append(f"Now for {who}.")
    before, after = list(old.moves.all()), list(new.moves.all())
    kept = same_steps([step_key(m) for m in before], [step_key(m) for m in after])
    added = [m for n, m in enumerate(after) if n not in set(kept.values())]
    dropped = [m for n, m in enumerate(before) if n not in kept]
    words += [f"New step: {one}" for one in _steps(new, added)]
    words += [f"No longer: {one}" for one in _steps(old, dropped)]
    if found.turned:
        words.append("The steps come in another order.")
    return words


def _steps(one: Changeover, moves: Sequence[ChangeoverMove]) -> list[str]:
    if not moves:
        return []
    units, datum = units_of(the_school()), one.line.datum
    return [
        move_words({"do": m.do, "was": m.was, "now": m.now}, datum, units)
        for m in moves
    ]


def _span(one: Changeover) -> str:
    return f"{clock(one.starts_at)} to {clock(one.ends_at)}"


def progress_words(one: Changeover) -> str:
    """Say how far a changeover is; nothing where it is not begun."""
    if one.done_at is not None:
        return f"Done {clock(one.done_at)}"
    if one.started_at is None:
        return ""
    moves = list(one.moves.all())
    ticked = sum(move.ticked_at is not None for move in moves)
    return f"Started {clock(one.started_at)}, {ticked} of {len(moves)} steps"


def clock(moment: datetime) -> str:
    """Return a moment as a clock shows it in the yard."""
    return f"{timezone.localtime(moment):%H:%M}"


def as_data(news: News) -> dict[str, Any]:
    """Return news as the list in the phone takes them."""
    return {
        "plan": news.plan,
        "published": clock(news.published_at) if news.published_at else "",
        "added": list(news.added),
        "rows": [
            {
                "id": one.pk,
                "name": one.name,
                "started": clock(one.started_at) if one.started_at else "",
                "done": clock(one.done_at) if one.done_at else "",
                "note": list(one.note),
                "over": one.over,
                "changed": list(one.changed),
                "moves": one.ticked,
            }
            for one in news.rows
        ]
        + [_work_data(one) for one in news.works],
    }


def _work_data(work: YardWork) -> dict[str, Any]:
    """Return work of the ground as a row of the list; `fresh` where it is new there."""
    name = f"{clock(work.starts_at)} {work.what}, {work.arena.name}"
    return {
        "id": f"work-{work.pk}",
        "name": name,
        "started": clock(work.started_at) if work.started_at else "",
        "done": clock(work.done_at) if work.done_at else "",
        "note": work.note.splitlines(),
        "over": off_words(work),
        "changed": [],
        "moves": {},
        "fresh": "" if work.called_off_at else f"New: {name}.",
    }
