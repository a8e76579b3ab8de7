"""Prices and fees on their page, and the list of what was noted to clients."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from school.enums import LessonKind
from school.models import LessonPrice
from school.permissions import may_set_charges
from school.queries.outcomes import fee_reason
from school.queries.prices import Owed, fees_noted, money
from school.queries.schools import school_zone, the_school
from school.services.prices import Prices, set_prices
from school.tables.writing import as_csv
from school.web.access import account_of, allowed
from school.web.setting import settings_page

Key = tuple[str, int]


class PricesForm(forms.Form):
    """The currency, the fees, a field for each price there is, and a new price."""

    currency = forms.CharField(
        max_length=3,
        required=False,
        label="Currency, its three letters (EUR); empty to name no amounts",
    )
    late_fee = forms.DecimalField(
        required=False, label="Given back late: an amount …", min_value=0
    )
    late_fee_percent = forms.IntegerField(
        label="… or, without one, this share of the price (%)"
    )
    no_show_fee = forms.DecimalField(
        required=False, label="Not come, or too late to ride: an amount …", min_value=0
    )
    no_show_fee_percent = forms.IntegerField(
        label="… or, without one, this share of the price (%)"
    )
    price_in_invites = forms.BooleanField(
        required=False, label="Say the price in the mails that invite"
    )
    new_kind = forms.ChoiceField(
        choices=LessonKind.choices, required=False, label="Another price: kind"
    )
    new_minutes = forms.IntegerField(required=False, label="Another price: minutes")
    new_amount = forms.DecimalField(required=False, label="Another price: amount")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._known: dict[str, Key] = {}
        for one in LessonPrice.objects.order_by("kind", "minutes"):
            name = f"price-{one.kind}-{one.minutes}"
            self._known[name] = (one.kind, one.minutes)
            self.fields[name] = forms.DecimalField(
                required=False,
                initial=one.amount.normalize(),
                label=f"{one}: a place costs (empty takes it away)",
            )

    def clean_currency(self) -> str:
        """Return the currency in capitals."""
        return str(self.cleaned_data["currency"]).strip().upper()

    def lessons(self) -> dict[Key, Decimal | None]:
        """Return the prices as they were sent, a new one among them."""
        data = self.cleaned_data
        found: dict[Key, Decimal | None] = {
            key: data[name] for name, key in self._known.items()
        }
        if data["new_amount"] is not None and data["new_minutes"]:
            found[data["new_kind"], data["new_minutes"]] = data["new_amount"]
        return found


@allowed(may_set_charges)
def prices_page(request: HttpRequest) -> HttpResponse:
    school = the_school()
    names = list(Prices.__annotations__)
    form = PricesForm(
        request.POST or None, initial={name: getattr(school, name) for name in names}
    )

    def set_(data: dict[str, Any]) -> None:
        set_prices(
            prices=Prices(**{name: data[name] for name in names}),  # type: ignore[typeddict-item]
            lessons=form.lessons(),
            by=account_of(request),
            now=timezone.now(),
        )

    says = "These are the prices from now on."
    return settings_page(request, form, set_, page="prices", says=says)


class MonthForm(forms.Form):
    first = forms.DateField(
        label="From", widget=forms.DateInput({"type": "date"}, "%Y-%m-%d")
    )
    last = forms.DateField(
        label="To", widget=forms.DateInput({"type": "date"}, "%Y-%m-%d")
    )


def _period(request: HttpRequest) -> tuple[MonthForm, date, date]:
    """Return the days asked for; the month so far where none are."""
    today = timezone.localdate()
    usual = {"first": today.replace(day=1), "last": today}
    form = MonthForm(request.GET or None, initial=usual)
    data = form.cleaned_data if form.is_bound and form.is_valid() else usual
    return form, data["first"], data["last"]


def _by_kind(noted: list[Owed]) -> list[tuple[str, int, str]]:
    """Sum up the fees by what they are for: the word, how many, the amount."""
    sums: dict[tuple[str, str], list[Decimal]] = {}
    for owed in noted:
        for one in owed.outcomes:
            key = (fee_reason(one)[0], owed.currency)
            sums.setdefault(key, []).append(one.amount or Decimal(0))
    return [
        (what, len(its), money(sum(its, Decimal(0)), currency))
        for (what, currency), its in sorted(sums.items())
    ]


@require_safe
@allowed(may_set_charges)
def fees_page(request: HttpRequest) -> HttpResponse:
    form, first, last = _period(request)
    noted = fees_noted(first, last, school_zone())
    owed = [
        {
            "client": one.client,
            "name": one.name,
            "total": money(one.total, one.currency),
            "rows": [
                (x.ride, *fee_reason(x), money(x.amount or Decimal(0), one.currency))
                for x in one.outcomes
            ],
        }
        for one in noted
    ]
    context = {
        "form": form,
        "first": first,
        "last": last,
        "owed": owed,
        "kinds": _by_kind(noted),
    }
    return render(request, "school/fees.html", context)


@require_safe
@allowed(may_set_charges)
def fees_csv(request: HttpRequest) -> HttpResponse:
    _, first, last = _period(request)
    head = [
        "Client", "Day", "Lesson", "Rider", "What", "How late", "Amount", "Currency",
    ]  # fmt: skip
    rows = [
        [
            one.name,
            timezone.localtime(x.ride.lesson.starts_at).date().isoformat(),
            x.ride.lesson.title,
            str(x.ride.rider.person),
            *fee_reason(x),
            f"{(x.amount or Decimal(0)).normalize():f}",
            one.currency,
        ]
        for one in fees_noted(first, last, school_zone())
        for x in one.outcomes
    ]
    response = HttpResponse(as_csv(head, rows), content_type="text/csv")
    name = f"fees-{first.isoformat()}-{last.isoformat()}.csv"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "no-store"
    return response
