import django.db.models.deletion
from django.db import migrations, models

from school.models.guards import drop_guards, install_guards


class Migration(migrations.Migration):
    """What every row has now is demanded of the next ones."""

    dependencies = [("school", "0009_fill_series_and_outbox")]

    operations = [
        migrations.RunPython(drop_guards, install_guards),
        migrations.AlterField(
            model_name='lessonseries',
            name='arena',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='series', to='school.arena'),
        ),
        migrations.AlterField(
            model_name='lessonseries',
            name='instructor',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='series', to='school.instructor'),
        ),
        migrations.AlterField(
            model_name='lessonseries',
            name='kind',
            field=models.CharField(choices=[('private', 'Private'), ('shared', 'Shared'), ('group', 'Group')], max_length=10),
        ),
        migrations.AlterField(
            model_name='lessonseries',
            name='work',
            field=models.CharField(choices=[('flat', 'Flat'), ('jumping', 'Jumping')], max_length=10),
        ),
        migrations.AlterField(
            model_name='outboxmessage',
            name='client',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='school.client'),
        ),
        migrations.AlterField(
            model_name='outboxmessage',
            name='kind',
            field=models.CharField(choices=[('invite', 'Invite to a lesson'), ('changed', 'Lesson changed'), ('cancelled', 'Lesson cancelled'), ('series', 'Invite to a weekly lesson'), ('series-changed', 'Weekly lesson changed'), ('series-cancelled', 'Weekly lesson ended'), ('reminder', 'Reminder')], max_length=20),
        ),
        migrations.AddConstraint(
            model_name='lesson',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('series__isnull', True), ('series_date__isnull', True)), models.Q(('series__isnull', False), ('series_date__isnull', False)), _connector='OR'), name='lesson_series_date', violation_error_message='series and series_date are set together'),
        ),
        migrations.AddConstraint(
            model_name='lesson',
            constraint=models.UniqueConstraint(models.F('series'), models.F('series_date'), name='lesson_once_in_its_series'),
        ),
        migrations.AddConstraint(
            model_name='lessonseries',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['private', 'shared', 'group'])), name='series_kind_known', violation_error_message='kind must be one of private, shared, group'),
        ),
        migrations.AddConstraint(
            model_name='lessonseries',
            constraint=models.CheckConstraint(condition=models.Q(('work__in', ['flat', 'jumping'])), name='series_work_known', violation_error_message='work must be one of flat, jumping'),
        ),
        migrations.AddConstraint(
            model_name='lessonseries',
            constraint=models.CheckConstraint(condition=models.Q(('places__gte', 1), ('places__lte', 12)), name='series_places_in_range', violation_error_message='places must be from 1 to 12'),
        ),
        migrations.AddConstraint(
            model_name='outboxmessage',
            constraint=models.UniqueConstraint(models.F('invitation'), models.F('edition'), name='message_once'),
        ),
        migrations.AddConstraint(
            model_name='outboxmessage',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['invite', 'changed', 'cancelled', 'series', 'series-changed', 'series-cancelled', 'reminder'])), name='message_kind_known', violation_error_message='kind must be one of invite, changed, cancelled, series, series-changed, series-cancelled, reminder'),
        ),
        migrations.AddConstraint(
            model_name='outboxmessage',
            constraint=models.CheckConstraint(condition=models.Q(('method__in', ['', 'REQUEST', 'CANCEL'])), name='message_method_known', violation_error_message='method must be one of , REQUEST, CANCEL'),
        ),
        migrations.AddConstraint(
            model_name='outboxmessage',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'sent', 'failed', 'dropped'])), name='message_state_known', violation_error_message='state must be one of waiting, sent, failed, dropped'),
        ),
        migrations.AddConstraint(
            model_name='outboxmessage',
            constraint=models.CheckConstraint(condition=models.Q(('invitation__isnull', False), ('method', ''), _connector='OR'), name='message_with_a_method_has_its_invitation'),
        ),
        migrations.RunPython(install_guards, drop_guards),
    ]
