from zoneinfo import ZoneInfo

from django.db import migrations


def fill_series(apps, schema_editor):
    """Let a series say what its first lesson is; one without lessons says nothing."""
    series_of = apps.get_model("school", "LessonSeries")
    lessons = apps.get_model("school", "Lesson").objects
    school = apps.get_model("school", "School").objects.first()
    zone = ZoneInfo(school.zone if school else "UTC")
    for series in series_of.objects.order_by("-pk"):
        own = list(lessons.filter(series_id=series.pk).order_by("starts_at"))
        if not own:
            series_of.objects.filter(split_from=series).update(split_from=None)
            series.delete()
            continue
        first = own[0]
        for field in ("kind", "work", "arena_id", "instructor_id", "places"):
            setattr(series, field, getattr(first, field))
        series.save()
        for lesson in own:
            day = lesson.starts_at.astimezone(zone).date()
            lessons.filter(pk=lesson.pk).update(series_date=day)


def fill_outbox(apps, schema_editor):
    """Number the messages of each invitation, and say whom each is to."""
    messages = apps.get_model("school", "OutboxMessage").objects
    for invitation in apps.get_model("school", "Invitation").objects.all():
        told = messages.filter(invitation=invitation).order_by("pk")
        for edition, message in enumerate(told):
            kind = "changed" if message.sequence else "invite"
            message.kind = "cancelled" if message.method == "CANCEL" else kind
            message.edition = edition
            message.client_id = invitation.client_id
            message.save()
        invitation.edition = max(0, len(told) - 1)
        invitation.save()


class Migration(migrations.Migration):
    dependencies = [("school", "0008_series_and_outbox")]

    operations = [
        migrations.RunPython(fill_series, migrations.RunPython.noop),
        migrations.RunPython(fill_outbox, migrations.RunPython.noop),
    ]
