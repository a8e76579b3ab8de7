"""Answers that came by mail and wait for a person."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.models import Reply
from school.permissions import is_manager
from school.queries.replies import held_replies, late_replies
from school.services.inbox import MAY_BE_TAKEN, settle_reply
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed


@require_safe
@allowed(is_manager)
def replies(request: HttpRequest) -> HttpResponse:
    return _show(request)


def _show(request: HttpRequest, refusal: str = "") -> HttpResponse:
    context = {
        "held": [
            {
                "reply": one,
                "takable": bool(one.answer and one.code in MAY_BE_TAKEN),
            }
            for one in held_replies()
        ],
        "late": late_replies(),
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    return render(request, "school/replies.html", context, status=status)


@require_POST
@allowed(is_manager)
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    reply = Reply.objects.filter(pk=pk).first()
    if reply is None:
        raise Http404
    take = request.POST.get("do") == "take"
    try:
        settle_reply(reply=reply, by=account_of(request), now=timezone.now(), take=take)
    except UnableToBook as error:
        return _show(request, refusal=error.says)
    messages.success(
        request, "Taken as the client's answer." if take else "Off the list."
    )
    return redirect("replies")
