"""The outbox: what could not be sent and why, what waits, what went."""

from email import message_from_bytes, policy

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.models import Client, OutboxMessage
from school.permissions import is_manager
from school.queries.messages import messages_with_all, outbox
from school.queries.schools import the_school
from school.services.messages import UnableToSend, send_again
from school.services.schools import set_mail_settings
from school.services.texts import write_to
from school.web.access import account_of, allowed
from school.web.message_forms import ClientMailForm, MailSettingsForm


@require_safe
@allowed(is_manager)
def outbox_page(request: HttpRequest) -> HttpResponse:
    return render(request, "school/messages/outbox.html", {"outbox": outbox()})


def _message(pk: int) -> OutboxMessage:
    message = messages_with_all().filter(pk=pk).first()
    if message is None:
        raise Http404
    return message


@require_safe
@allowed(is_manager)
def message_page(request: HttpRequest, pk: int) -> HttpResponse:
    message, text = _message(pk), ""
    if message.mail is not None:
        read = message_from_bytes(bytes(message.mail), policy=policy.default)
        body = read.get_body(("plain",))
        text = "" if body is None else str(body.get_content())
    context = {"message": message, "text": text}
    return render(request, "school/messages/message.html", context)


@require_POST
@allowed(is_manager)
def send_message_again(request: HttpRequest, pk: int) -> HttpResponse:
    message = _message(pk)
    try:
        send_again(message=message, by=account_of(request), now=timezone.now())
    except UnableToSend as error:
        messages.error(request, error.says)
    else:
        messages.success(request, f"{message.client} is written to again.")
    return redirect("messages")


@allowed(is_manager)
def mail_settings(request: HttpRequest) -> HttpResponse:
    form = MailSettingsForm(request.POST or None, instance=the_school())
    if request.method == "POST" and form.is_valid():
        set_mail_settings(
            values=form.cleaned_data, by=account_of(request), now=timezone.now()
        )
        messages.success(request, "The settings are kept.")
        return redirect("mail-settings")
    return render(request, "school/messages/settings.html", {"form": form})


@allowed(is_manager)
def clients_mail(request: HttpRequest) -> HttpResponse:
    clients = Client.objects.select_related("person").order_by(
        "person__last_name", "person__first_name", "pk"
    )
    rows = [
        (one, ClientMailForm(instance=one, prefix=f"client-{one.pk}"))
        for one in clients
    ]
    return render(request, "school/messages/clients.html", {"rows": rows})


@require_POST
@allowed(is_manager)
def write_to_client(request: HttpRequest, pk: int) -> HttpResponse:
    client = Client.objects.select_related("person").filter(pk=pk).first()
    if client is None:
        raise Http404
    form = ClientMailForm(request.POST, instance=client, prefix=f"client-{pk}")
    if form.is_valid():
        write_to(
            client=client,
            language=form.cleaned_data["language"],
            calendar_by=form.cleaned_data["calendar_by"],
            by=account_of(request),
            now=timezone.now(),
        )
        messages.success(request, f"{client} is written to in that way from now on.")
    else:
        messages.error(request, "Choose one of the languages and one of the ways.")
    return redirect("clients-mail")
