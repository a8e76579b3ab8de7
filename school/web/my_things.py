"""What else a client does by signed link: offers, consents, the calendar."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from school.enums import ConsentKind
from school.queries.clients import (
    client_feeds,
    consents_of,
    open_offers,
    without_consent,
)
from school.queries.links import Link
from school.queries.schools import the_school
from school.services.consents import give_consent, renew_consent
from school.services.offers import decline_offer, take_offer
from school.services.refusals import UnableToBook
from school.services.subscriptions import (
    follow_by_feed,
    show_all_in_feed,
    stop_feed,
)
from school.web.addresses import address_context
from school.web.my import linked, show_page, to_page


@linked
@require_POST
def my_offer(request: HttpRequest, link: Link, offer: int, answer: str) -> HttpResponse:
    now = timezone.now()
    found = next(
        (one for one in open_offers(link.client, now) if one.pk == offer), None
    )
    if found is None:
        return show_page(request, link, refusal="This offer is gone.")
    if answer == "decline":
        decline_offer(offer=found, now=now)
        return to_page(link, "declined")
    try:
        take_offer(offer=found, now=now)
    except UnableToBook as error:
        return show_page(request, link, refusal=error.says)
    return to_page(link, "taken")


@linked
@require_POST
def my_consent(request: HttpRequest, link: Link, consent: int) -> HttpResponse:
    found = next((one for one in consents_of(link.client) if one.pk == consent), None)
    if found is None:
        return show_page(request, link, refusal="There is no such consent.")
    try:
        renew_consent(consent=found, client=link.client, now=timezone.now())
    except UnableToBook as error:
        return show_page(request, link, refusal=error.says)
    return to_page(link, "renewed")


@linked
@require_POST
def my_consent_given(request: HttpRequest, link: Link, rider: int) -> HttpResponse:
    """A guardian's first consent to riding lessons for one of their own."""
    asked = without_consent(link.client, the_school(), timezone.localdate())
    found = next((one for one in asked if one.pk == rider), None)
    if found is None:
        return to_page(link, "renewed")
    try:
        give_consent(
            rider=found,
            kind=ConsentKind.RIDING,
            given_by=link.client.person,
            by=None,
            now=timezone.now(),
        )
    except UnableToBook as error:
        return show_page(request, link, refusal=error.says)
    return to_page(link, "renewed")


@linked
@require_POST
def my_calendar(request: HttpRequest, link: Link) -> HttpResponse:
    url = follow_by_feed(client=link.client, now=timezone.now())
    return show_page(request, link, **address_context(url))


@linked
@require_POST
def my_calendar_all(request: HttpRequest, link: Link) -> HttpResponse:
    """Show in the subscription what came by invite too."""
    show_all_in_feed(client=link.client, by=None, now=timezone.now())
    return to_page(link, "all-in-feed")


@linked
@require_POST
def my_calendar_withdraw(request: HttpRequest, link: Link, feed: int) -> HttpResponse:
    found = next((one for one in client_feeds(link.client) if one.pk == feed), None)
    if found is not None:
        stop_feed(client=link.client, feed=found, now=timezone.now())
    return to_page(link, "withdrawn")
