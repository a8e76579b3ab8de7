from datetime import date
from typing import Any, cast

from django.http import Http404
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from scheduling.models import PlanRun
from scheduling.queries.plans import plan_of_day
from scheduling.services.runs import ask_run
from school.api.access import StaffReadManagerWrite
from school.models import Account


class DayPlanView(APIView):
    """The plan file of a day, as the day file's contract has it."""

    permission_classes = [StaffReadManagerWrite]

    def get(self, request: Request, day: str) -> Response:
        plan = plan_of_day(read_day(day))
        if plan is None:
            raise Http404
        return Response(plan.plan)

    def post(self, request: Request, day: str) -> Response:
        """Ask for a plan; what is under way already is answered, not begun twice."""
        run = ask_run(
            date=read_day(day),
            kind=PlanRun.Kind.ORDER,
            by=cast("Account", request.user),
            now=timezone.now(),
        )
        return Response(_as_data(run), status=202)


class RunView(APIView):
    """How far a search is, and the plan file it ended with."""

    permission_classes = [StaffReadManagerWrite]

    def get(self, request: Request, pk: int) -> Response:
        run = PlanRun.objects.select_related("plan").filter(pk=pk).first()
        if run is None:
            raise Http404
        return Response(_as_data(run))


def _as_data(run: PlanRun) -> dict[str, Any]:
    return {
        "run": run.pk,
        "state": run.state,
        "best_s": run.best_s,
        "bound_s": run.bound_s,
        "says": run.says,
        "plan": None if run.plan is None else run.plan.plan,
    }


def read_day(text: str) -> date:
    """Read a day from an address."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise Http404 from error
