"""Forms about mails to clients."""

from django import forms

from school.enums import Language, MessageKind
from school.models import Client, School

_TIME = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")


class MailSettingsForm(forms.ModelForm):  # type: ignore[type-arg]
    map_url = forms.URLField(
        max_length=200,
        required=False,
        assume_scheme="https",
        label="Address of a map",
    )

    class Meta:
        model = School
        fields = (
            "notice_hours",
            "arrive_before_min",
            "collect_min",
            "remind_hours",
            "remind_evening_at",
            "exact_time_at",
            "quiet_from",
            "quiet_to",
            "phone",
            "map_url",
            "getting_there",
            "weather_rule",
            "publish_horses",
        )
        widgets = {
            "remind_evening_at": _TIME,
            "exact_time_at": _TIME,
            "quiet_from": _TIME,
            "quiet_to": _TIME,
        }
        labels = {
            "notice_hours": "Hours before a lesson until which it is cancelled free",
            "arrive_before_min": "Minutes before a lesson to be there",
            "collect_min": "Minutes in which changes are collected into one mail",
            "remind_hours": "Hours before a lesson of the first reminder (0: none)",
            "remind_evening_at": "Second reminder on the evening before, at",
            "exact_time_at": "A lesson in a window: its time is told on the evening "
            "before by",
            "quiet_from": "No reminder from",
            "quiet_to": "… until",
            "phone": "Telephone in mails",
            "getting_there": "Gate and parking, in a sentence",
            "weather_rule": "Rule for bad weather, in a sentence",
            "publish_horses": "Tell clients which horse is ridden",
        }
        help_texts = dict.fromkeys(fields, "")


class ClientMailForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Client
        fields = ("language", "calendar_by")
        labels = {"language": "Language", "calendar_by": "Calendar"}


class TextForm(forms.Form):
    """A mail's subject and body, with names in braces."""

    subject = forms.CharField(max_length=200)
    body = forms.CharField(widget=forms.Textarea(attrs={"rows": "18"}))


KINDS = dict(MessageKind.choices)
LANGUAGES = dict(Language.choices)
