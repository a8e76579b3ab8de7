"""Why a day's resets cost what they do: each changeover, and what stands in its way."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from scheduling.models import DayPlan
from scheduling.queries.changeovers import changeovers_of_plan
from scheduling.queries.plans import draft_of_day, published_plan
from scheduling.services.reasons import reasons_of_plan
from scheduling.web.days import read_day_or_404
from school.permissions import is_manager
from school.web.access import allowed


@allowed(is_manager)
def why_page(request: HttpRequest, day: str) -> HttpResponse:
    when = read_day_or_404(day)
    plan = draft_of_day(when) or published_plan(when)
    changeovers = [] if plan is None else changeovers_of_plan(plan)
    context = {
        "day": when,
        "plan": plan,
        "is_draft": plan is not None and plan.state == DayPlan.State.DRAFT,
        "proved": plan is not None and plan.status == "proved",
        "reset_min": 0 if plan is None else -(-plan.reset_s // 60),
        "rows": []
        if plan is None
        else [
            {
                "changeover": one.changeover,
                "says": one.says,
                "minutes": -(-one.changeover.seconds // 60),
                "saves_min": one.saved_s // 60,
            }
            for one in reasons_of_plan(plan, changeovers)
        ],
    }
    return render(request, "scheduling/why.html", context)
