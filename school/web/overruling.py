"""What a rule refused may be done all the same, with a reason."""

from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from school.services.refusals import UnableToBook

FIELD = "overrule"


def reason_of(request: HttpRequest) -> str:
    """Return the reason given for going against a rule; none is empty."""
    return request.POST.get(FIELD, "").strip()


def mended_at(error: UnableToBook) -> dict[str, Any]:
    """Return the page on which what stands in the way is mended, where there is one."""
    if error.code not in {"no-consent", "stopped"}:
        return {}
    address = reverse("rider", args=[error.fields["rider"]])
    return {"mend": {"at": address, "says": "Open the rider's page"}}


def offer_to_overrule(request: HttpRequest, error: UnableToBook) -> dict[str, Any]:
    """Return what a page needs to ask why it should be done all the same.

    What was sent is sent again with the reason. For managers, and for the lesson's
    instructor where its grid is attached: the details tell weights.
    """
    if not error.overridable:
        return mended_at(error)
    left_out = {FIELD, "csrfmiddlewaretoken"}
    sent = [
        (name, value)
        for name, values in request.POST.lists()
        if name not in left_out
        for value in values
    ]
    return {
        "overruling": {
            "to": request.get_full_path(),
            "sent": sent,
            "details": error.details,
        }
    }
