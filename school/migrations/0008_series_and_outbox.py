import datetime
import django.db.models.deletion
from django.db import migrations, models

from school.models.guards import drop_guards, install_guards


class Migration(migrations.Migration):

    dependencies = [('school', '0007_units')]

    operations = [
        migrations.RunPython(drop_guards, install_guards),
        migrations.CreateModel(
            name='InvitedDay',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('original_starts_at', models.DateTimeField()),
                ('sequence', models.PositiveIntegerField(default=0)),
                ('answer', models.CharField(choices=[('NEEDS-ACTION', 'Not answered'), ('ACCEPTED', 'Accepted'), ('DECLINED', 'Declined'), ('TENTATIVE', 'Tentative')], default='NEEDS-ACTION', max_length=12)),
                ('dropped', models.BooleanField(default=False)),
                ('content_digest', models.CharField(blank=True, max_length=64)),
                ('changed_at', models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name='MessageText',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('invite', 'Invite to a lesson'), ('changed', 'Lesson changed'), ('cancelled', 'Lesson cancelled'), ('series', 'Invite to a weekly lesson'), ('series-changed', 'Weekly lesson changed'), ('series-cancelled', 'Weekly lesson ended'), ('reminder', 'Reminder')], max_length=20)),
                ('language', models.CharField(choices=[('en', 'English'), ('de', 'Deutsch')], max_length=5)),
                ('subject', models.CharField(max_length=200)),
                ('body', models.TextField()),
                ('changed_at', models.DateTimeField()),
            ],
        ),
        migrations.RemoveConstraint(
            model_name='lesson',
            name='lesson_once_in_its_series',
        ),
        migrations.RemoveConstraint(
            model_name='outboxmessage',
            name='message_once',
        ),
        migrations.RemoveConstraint(
            model_name='outboxmessage',
            name='message_method_known',
        ),
        migrations.RemoveConstraint(
            model_name='outboxmessage',
            name='message_state_known',
        ),
        migrations.AddField(
            model_name='client',
            name='calendar_by',
            field=models.CharField(choices=[('invite', 'Invites by mail'), ('feed', 'Subscribed feed; mails carry words only')], default='invite', max_length=6),
        ),
        migrations.AddField(
            model_name='client',
            name='language',
            field=models.CharField(choices=[('en', 'English'), ('de', 'Deutsch')], default='en', max_length=5),
        ),
        migrations.AddField(
            model_name='invitation',
            name='edition',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='invitation',
            name='first_date',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='invitation',
            name='last_date',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='invitation',
            name='series',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='invitations', to='school.lessonseries'),
        ),
        migrations.AddField(
            model_name='lesson',
            name='series_date',
            field=models.DateField(blank=True, help_text='Its day in the series, also once it is moved', null=True),
        ),
        migrations.AddField(
            model_name='lessonseries',
            name='arena',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='series', to='school.arena'),
        ),
        migrations.AddField(
            model_name='lessonseries',
            name='instructor',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='series', to='school.instructor'),
        ),
        migrations.AddField(
            model_name='lessonseries',
            name='kind',
            field=models.CharField(choices=[('private', 'Private'), ('shared', 'Shared'), ('group', 'Group')], max_length=10, null=True),
        ),
        migrations.AddField(
            model_name='lessonseries',
            name='places',
            field=models.PositiveSmallIntegerField(default=1),
        ),
        migrations.AddField(
            model_name='lessonseries',
            name='work',
            field=models.CharField(choices=[('flat', 'Flat'), ('jumping', 'Jumping')], max_length=10, null=True),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='claimed_until',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='client',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='school.client'),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='edition',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='kind',
            field=models.CharField(choices=[('invite', 'Invite to a lesson'), ('changed', 'Lesson changed'), ('cancelled', 'Lesson cancelled'), ('series', 'Invite to a weekly lesson'), ('series-changed', 'Weekly lesson changed'), ('series-cancelled', 'Weekly lesson ended'), ('reminder', 'Reminder')], max_length=20, null=True),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='lesson',
            field=models.ForeignKey(blank=True, help_text='What a mail without an invite is about', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='school.lesson'),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='once',
            field=models.CharField(max_length=120, null=True, unique=True),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='subject',
            field=models.CharField(blank=True, max_length=400),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='told',
            field=models.JSONField(default=dict),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='told_digest',
            field=models.CharField(blank=True, max_length=64),
        ),
        migrations.AddField(
            model_name='school',
            name='collect_min',
            field=models.PositiveSmallIntegerField(default=3, help_text='Minutes in which changes are collected into one mail'),
        ),
        migrations.AddField(
            model_name='school',
            name='getting_there',
            field=models.CharField(blank=True, help_text='Gate, parking: one or two sentences', max_length=300),
        ),
        migrations.AddField(
            model_name='school',
            name='map_url',
            field=models.URLField(blank=True),
        ),
        migrations.AddField(
            model_name='school',
            name='phone',
            field=models.CharField(blank=True, max_length=30),
        ),
        migrations.AddField(
            model_name='school',
            name='publish_horses',
            field=models.BooleanField(default=False, help_text='Tell clients which horse they ride'),
        ),
        migrations.AddField(
            model_name='school',
            name='quiet_from',
            field=models.TimeField(default=datetime.time(21, 0), help_text='No reminder from this local time'),
        ),
        migrations.AddField(
            model_name='school',
            name='quiet_to',
            field=models.TimeField(default=datetime.time(8, 0), help_text='… until this'),
        ),
        migrations.AddField(
            model_name='school',
            name='remind_evening_at',
            field=models.TimeField(blank=True, default=datetime.time(18, 0), help_text='Local time of the reminder on the evening before; empty for none', null=True),
        ),
        migrations.AddField(
            model_name='school',
            name='remind_hours',
            field=models.PositiveSmallIntegerField(default=72, help_text='Hours before a lesson of the first reminder; 0 for none'),
        ),
        migrations.AddField(
            model_name='school',
            name='weather_rule',
            field=models.CharField(blank=True, help_text='What happens in rain, storm or frost', max_length=300),
        ),
        migrations.AlterField(
            model_name='invitation',
            name='lesson',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='invitations', to='school.lesson'),
        ),
        migrations.AlterField(
            model_name='lesson',
            name='series',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='lessons', to='school.lessonseries'),
        ),
        migrations.AlterField(
            model_name='lessonseries',
            name='split_from',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, to='school.lessonseries'),
        ),
        migrations.AlterField(
            model_name='outboxmessage',
            name='invitation',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='school.invitation'),
        ),
        migrations.AlterField(
            model_name='outboxmessage',
            name='method',
            field=models.CharField(blank=True, choices=[('REQUEST', 'Invite'), ('CANCEL', 'Cancellation')], max_length=10),
        ),
        migrations.AlterField(
            model_name='outboxmessage',
            name='sequence',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AlterField(
            model_name='outboxmessage',
            name='state',
            field=models.CharField(choices=[('waiting', 'Waiting'), ('sent', 'Sent'), ('failed', 'Given up'), ('dropped', 'Overtaken')], default='waiting', max_length=10),
        ),
        migrations.AddConstraint(
            model_name='client',
            constraint=models.CheckConstraint(condition=models.Q(('language__in', ['en', 'de'])), name='client_language_known', violation_error_message='language must be one of en, de'),
        ),
        migrations.AddConstraint(
            model_name='client',
            constraint=models.CheckConstraint(condition=models.Q(('calendar_by__in', ['invite', 'feed'])), name='client_calendar_by_known', violation_error_message='calendar_by must be one of invite, feed'),
        ),
        migrations.AddConstraint(
            model_name='invitation',
            constraint=models.UniqueConstraint(models.F('series'), models.F('client'), name='invitation_once_a_series_and_client'),
        ),
        migrations.AddConstraint(
            model_name='invitation',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('lesson__isnull', False), ('series__isnull', True)), models.Q(('lesson__isnull', True), ('series__isnull', False)), _connector='OR'), name='invitation_to_a_lesson_or_a_series'),
        ),
        migrations.AddConstraint(
            model_name='invitation',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('first_date__isnull', True), ('series__isnull', True)), models.Q(('first_date__isnull', False), ('series__isnull', False)), _connector='OR'), name='invitation_series_from', violation_error_message='series and first_date are set together'),
        ),
        migrations.AddConstraint(
            model_name='invitation',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('first_date__isnull', True), ('last_date__isnull', True)), models.Q(('first_date__isnull', False), ('last_date__isnull', False)), _connector='OR'), name='invitation_series_whole', violation_error_message='first_date and last_date are set together'),
        ),
        migrations.AddConstraint(
            model_name='invitation',
            constraint=models.CheckConstraint(condition=models.Q(('last_date__gte', models.F('first_date'))), name='invitation_series_begins_before_it_ends'),
        ),
        migrations.AddConstraint(
            model_name='school',
            constraint=models.CheckConstraint(condition=models.Q(('collect_min__gte', 0), ('collect_min__lte', 60)), name='school_collect_in_range', violation_error_message='collect_min must be from 0 to 60'),
        ),
        migrations.AddConstraint(
            model_name='school',
            constraint=models.CheckConstraint(condition=models.Q(('remind_hours__gte', 0), ('remind_hours__lte', 336)), name='school_remind_in_range', violation_error_message='remind_hours must be from 0 to 336'),
        ),
        migrations.AddField(
            model_name='invitedday',
            name='invitation',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='days', to='school.invitation'),
        ),
        migrations.AddField(
            model_name='invitedday',
            name='lesson',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='invited_days', to='school.lesson'),
        ),
        migrations.AddField(
            model_name='outboxmessage',
            name='day',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='school.invitedday'),
        ),
        migrations.AddConstraint(
            model_name='messagetext',
            constraint=models.UniqueConstraint(models.F('kind'), models.F('language'), name='message_text_once'),
        ),
        migrations.AddConstraint(
            model_name='messagetext',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['invite', 'changed', 'cancelled', 'series', 'series-changed', 'series-cancelled', 'reminder'])), name='message_text_kind_known', violation_error_message='kind must be one of invite, changed, cancelled, series, series-changed, series-cancelled, reminder'),
        ),
        migrations.AddConstraint(
            model_name='messagetext',
            constraint=models.CheckConstraint(condition=models.Q(('language__in', ['en', 'de'])), name='message_text_language_known', violation_error_message='language must be one of en, de'),
        ),
        migrations.AddConstraint(
            model_name='messagetext',
            constraint=models.CheckConstraint(condition=models.Q(('subject', ''), _negated=True), name='message_text_subject_filled', violation_error_message='subject must not be empty'),
        ),
        migrations.AddConstraint(
            model_name='messagetext',
            constraint=models.CheckConstraint(condition=models.Q(('body', ''), _negated=True), name='message_text_body_filled', violation_error_message='body must not be empty'),
        ),
        migrations.AddConstraint(
            model_name='invitedday',
            constraint=models.UniqueConstraint(models.F('invitation'), models.F('original_starts_at'), name='invited_day_once'),
        ),
        migrations.AddConstraint(
            model_name='invitedday',
            constraint=models.UniqueConstraint(models.F('invitation'), models.F('lesson'), name='invited_day_once_a_lesson'),
        ),
        migrations.AddConstraint(
            model_name='invitedday',
            constraint=models.CheckConstraint(condition=models.Q(('answer__in', ['NEEDS-ACTION', 'ACCEPTED', 'DECLINED', 'TENTATIVE'])), name='invited_day_answer_known', violation_error_message='answer must be one of NEEDS-ACTION, ACCEPTED, DECLINED, TENTATIVE'),
        ),
        migrations.RunPython(install_guards, drop_guards),
    ]
