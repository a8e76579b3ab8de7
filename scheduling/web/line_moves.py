"""The page of lines that move sideways: how worn each is, when it is due, where it
lies."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.geometry.lengths import InvalidLength
from exercises.geometry.units import Units
from scheduling.queries.wear import wear_of
from scheduling.services.line_rules import (
    Sideways,
    UnableToMoveLine,
    end_sideways,
    say_where_it_lies,
    set_sideways,
    usual_rule,
)
from school.convert import units_of
from school.models import Line, SidewaysRule, YardWork
from school.permissions import may_plan_yard_work, may_work_resets
from school.queries.schools import the_school
from school.queries.yard import open_moves
from school.web.access import account_of, allowed


class LengthField(forms.CharField):
    """A distance in the school's unit, kept in centimetres."""

    def __init__(self, units: Units, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.units = units

    def clean(self, value: Any) -> Any:
        """Return centimetres."""
        try:
            return self.units.read_length(super().clean(value))
        except InvalidLength as error:
            raise forms.ValidationError(str(error)) from error


class RuleForm(forms.Form):
    every_days = forms.IntegerField(label="Every so many days", required=False)
    every_uses = forms.IntegerField(
        label="Or after so many lessons over fences", required=False
    )

    def __init__(self, data: Any, how: Sideways, units: Units, pk: int) -> None:
        initial = {
            "every_days": how.every_days,
            "every_uses": how.every_uses,
            "step": units.length(how.step_cm),
            "least": units.length(how.least_cm),
            "most": units.length(how.most_cm),
        }
        super().__init__(data, initial=initial, prefix=f"rule-{pk}")
        for name, label in (
            ("step", "By how much each time"),
            ("least", "Nearest to the long side"),
            ("most", "Farthest from it"),
        ):
            self.fields[name] = LengthField(units, label=label, max_length=20)

    def how(self) -> Sideways:
        """Return what is asked for."""
        data = self.cleaned_data
        return Sideways(
            data["every_days"],
            data["every_uses"],
            data["step"],
            data["least"],
            data["most"],
        )


class PlaceForm(forms.Form):
    moved = forms.BooleanField(label="It was moved there just now", required=False)

    def __init__(self, data: Any, line: Line, units: Units) -> None:
        initial = {"at": units.length(line.from_long_side_cm)}
        super().__init__(data, initial=initial, prefix=f"place-{line.pk}")
        self.fields["at"] = LengthField(
            units, label="It lies from the long side", max_length=20
        )
        self.order_fields(["at", "moved"])


@allowed(may_work_resets)
def line_moves_page(request: HttpRequest) -> HttpResponse:
    return _show(request)


def _show(
    request: HttpRequest, bound: dict[int, dict[str, forms.Form]] | None = None
) -> HttpResponse:
    """Show every line; a form that was refused keeps what was written in it."""
    units, now = units_of(the_school()), timezone.now()
    lines = list(
        Line.objects.select_related("arena", "sideways").order_by(
            "arena__name", "name", "pk"
        )
    )
    wear = wear_of([one.sideways for one in lines if hasattr(one, "sideways")], now)
    works = open_moves()
    rows = [
        _row(one, units, works.get(one.pk)) | {"wear": wear.get(one.pk)}
        for one in lines
    ]
    for row in rows:
        row |= (bound or {}).get(row["line"].pk, {})
        due = row["wear"].due if row["wear"] else None
        row["stuck"] = due is not None and due <= timezone.localdate(now)
    context = {"rows": rows, "manager": may_plan_yard_work(account_of(request))}
    return render(
        request, "scheduling/line_moves.html", context, status=409 if bound else 200
    )


def _row(line: Line, units: Units, work: YardWork | None) -> dict[str, Any]:
    rule: SidewaysRule | None = getattr(line, "sideways", None)
    return {
        "line": line,
        "rule": rule,
        "lies": units.length(line.from_long_side_cm),
        "wide": units.length(line.arena.width_cm),
        "step": units.length(rule.step_cm) if rule else "",
        "least": units.length(rule.least_cm) if rule else "",
        "most": units.length(rule.most_cm) if rule else "",
        "work": work,
        "to": units.length(work.to_cm) if work and work.to_cm is not None else "",
        "rule_form": RuleForm(None, _how(line, rule), units, line.pk),
        "place_form": PlaceForm(None, line, units),
    }


def _how(line: Line, rule: SidewaysRule | None) -> Sideways:
    if rule is None:
        return usual_rule(line)
    return Sideways(
        rule.every_days, rule.every_uses, rule.step_cm, rule.least_cm, rule.most_cm
    )


def _line(pk: int) -> Line:
    line = Line.objects.select_related("arena", "sideways").filter(pk=pk).first()
    if line is None:
        raise Http404
    return line


@require_POST
@allowed(may_plan_yard_work)
def set_rule(request: HttpRequest, pk: int) -> HttpResponse:
    line, units = _line(pk), units_of(the_school())
    rule = getattr(line, "sideways", None)
    form = RuleForm(request.POST, _how(line, rule), units, pk)
    if not form.is_valid():
        return _show(request, {pk: {"rule_form": form}})
    try:
        set_sideways(
            line=line, how=form.how(), by=account_of(request), now=timezone.now()
        )
    except UnableToMoveLine as refused:
        form.add_error(refused.field, refused.says)
        return _show(request, {pk: {"rule_form": form}})
    messages.success(request, f"{line.arena}, {line.name}, is moved by this now.")
    return redirect("line-moves")


@require_POST
@allowed(may_plan_yard_work)
def end_rule(request: HttpRequest, pk: int) -> HttpResponse:
    line = _line(pk)
    end_sideways(line=line, by=account_of(request), now=timezone.now())
    messages.success(request, f"{line.arena}, {line.name}, stays where it lies.")
    return redirect("line-moves")


@require_POST
@allowed(may_work_resets)
def say_where(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct where a line lies."""
    line, units = _line(pk), units_of(the_school())
    form = PlaceForm(request.POST, line, units)
    if not form.is_valid():
        return _show(request, {pk: {"place_form": form}})
    data = form.cleaned_data
    try:
        line, warning = say_where_it_lies(
            line=line,
            at_cm=data["at"],
            moved=data["moved"],
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToMoveLine as refused:
        form.add_error(refused.field, refused.says)
        return _show(request, {pk: {"place_form": form}})
    lies = units.length(line.from_long_side_cm)
    messages.success(
        request, f"{line.arena}, {line.name}, lies {lies} from the long side."
    )
    if warning:
        messages.warning(request, warning)
    return redirect("line-moves")
