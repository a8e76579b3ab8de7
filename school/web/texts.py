"""The texts of mails: seen, worded, previewed, taken back."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from school.calendars.invites import words_of
from school.calendars.samples import preview, sample_facts
from school.calendars.texts import PLACEHOLDERS, Words
from school.enums import Language, MessageKind
from school.models import MessageText
from school.permissions import is_manager
from school.queries.schools import the_school
from school.services.texts import (
    UnableToKeepText,
    check_words,
    restore_text,
    save_text,
)
from school.web.access import account_of, allowed
from school.web.message_forms import TextForm


@require_safe
@allowed(is_manager)
def texts_page(request: HttpRequest) -> HttpResponse:
    own = set(MessageText.objects.values_list("kind", "language"))
    rows = [
        (kind, [(one, (kind.value, one.value) in own) for one in Language])
        for kind in MessageKind
    ]
    return render(request, "school/messages/texts.html", {"rows": rows})


@allowed(is_manager)
def text_page(request: HttpRequest, kind: str, language: str) -> HttpResponse:
    """Show a text with its preview; keep it, or the product's own, when told to."""
    if kind not in MessageKind.values or language not in Language.values:
        raise Http404
    what, by = request.POST.get("do", ""), account_of(request)
    if request.method == "POST" and what == "restore":
        restore_text(kind=kind, language=language, by=by, now=timezone.now())
        messages.success(request, "The text is as it came with the tool again.")
        return redirect("message-text", kind=kind, language=language)
    words = words_of(kind, language)
    form = TextForm(
        request.POST or None, initial={"subject": words.subject, "body": words.body}
    )
    if request.method == "POST" and form.is_valid():
        body = form.cleaned_data["body"].replace("\r\n", "\n")
        words = Words(form.cleaned_data["subject"], body)
        try:
            check_words(kind=kind, subject=words.subject, body=words.body)
        except UnableToKeepText as error:
            form.add_error(error.field, error.says)
        else:
            if what == "save":
                save_text(
                    kind=kind,
                    language=language,
                    subject=words.subject,
                    body=words.body,
                    by=by,
                    now=timezone.now(),
                )
                messages.success(request, "The text is kept: mails say it from now on.")
                return redirect("message-text", kind=kind, language=language)
    return _show(request, kind, language, form, words)


def _show(
    request: HttpRequest, kind: str, language: str, form: TextForm, words: Words
) -> HttpResponse:
    school, now = the_school(), timezone.now()
    made, text = preview(school, kind, language, words, now)
    facts = sample_facts(school, kind, language, now)
    context = {
        "form": form,
        "kind": MessageKind(kind),
        "language": Language(language),
        "own": MessageText.objects.filter(kind=kind, language=language).exists(),
        "subject": made.subject,
        "text": text,
        "names": [
            (f"{{{name}}}", means, facts.get(name, ""))
            for name, means in PLACEHOLDERS.items()
        ],
    }
    status = 409 if form.is_bound and not form.is_valid() else 200
    return render(request, "school/messages/text.html", context, status=status)
