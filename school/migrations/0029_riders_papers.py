import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from school.models.guards import drop_guards, install_guards


class Migration(migrations.Migration):

    dependencies = [
        ('school', '0028_instructor_absences'),
    ]

    operations = [
        migrations.RunPython(drop_guards, install_guards),
        migrations.CreateModel(
            name='LevelSigning',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('level', models.CharField(choices=[('novice', 'Novice'), ('intermediate', 'Intermediate'), ('advanced', 'Advanced')], max_length=12)),
                ('highest_fence_cm', models.PositiveSmallIntegerField()),
                ('signed_date', models.DateField()),
                ('note', models.CharField(blank=True, max_length=200)),
            ],
        ),
        migrations.CreateModel(
            name='RiderStop',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('from_date', models.DateField()),
                ('not_before_date', models.DateField(blank=True, null=True)),
                ('reason', models.CharField(help_text='Sensitive, as health is', max_length=200)),
                ('noted_at', models.DateTimeField()),
                ('lifted_at', models.DateTimeField(blank=True, null=True)),
                ('lifted_reason', models.CharField(blank=True, max_length=200)),
            ],
        ),
        migrations.AddField(
            model_name='consent',
            name='kind',
            field=models.CharField(choices=[('riding', 'Riding lessons'), ('treatment', 'Medical treatment in an emergency'), ('photographs', 'Photographs'), ('other', 'Something else')], default='other', max_length=12),
        ),
        migrations.AddField(
            model_name='consent',
            name='withdrawn_date',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='consent',
            name='withdrawn_reason',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='lesson',
            name='level',
            field=models.CharField(blank=True, choices=[('novice', 'Novice'), ('intermediate', 'Intermediate'), ('advanced', 'Advanced')], help_text='What its riders should be at least; empty asks for none', max_length=12),
        ),
        migrations.AddField(
            model_name='school',
            name='of_age_years',
            field=models.PositiveSmallIntegerField(default=18, help_text="Who is younger rides with a guardian's consent only"),
        ),
        migrations.AddConstraint(
            model_name='consent',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['riding', 'treatment', 'photographs', 'other'])), name='consent_kind_known', violation_error_message='kind must be one of riding, treatment, photographs, other'),
        ),
        migrations.AddConstraint(
            model_name='consent',
            constraint=models.CheckConstraint(condition=models.Q(('withdrawn_date__isnull', True), ('withdrawn_date__gte', models.F('given_date')), _connector='OR'), name='consent_given_before_it_is_withdrawn'),
        ),
        migrations.AddConstraint(
            model_name='consent',
            constraint=models.CheckConstraint(condition=models.Q(('withdrawn_date__isnull', True), models.Q(('withdrawn_reason', ''), _negated=True), _connector='OR'), name='consent_withdrawn_with_a_reason'),
        ),
        migrations.AddConstraint(
            model_name='lesson',
            constraint=models.CheckConstraint(condition=models.Q(('level__in', ['', 'novice', 'intermediate', 'advanced'])), name='lesson_level_known', violation_error_message='level must be one of , novice, intermediate, advanced'),
        ),
        migrations.AddConstraint(
            model_name='school',
            constraint=models.CheckConstraint(condition=models.Q(('of_age_years__gte', 14), ('of_age_years__lte', 21)), name='school_of_age_in_range', violation_error_message='of_age_years must be from 14 to 21'),
        ),
        migrations.AddField(
            model_name='levelsigning',
            name='rider',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='signings', to='school.rider'),
        ),
        migrations.AddField(
            model_name='levelsigning',
            name='signed_by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='signings', to='school.instructor'),
        ),
        migrations.AddField(
            model_name='riderstop',
            name='lifted_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='riderstop',
            name='noted_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='riderstop',
            name='rider',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='stops', to='school.rider'),
        ),
        migrations.AddConstraint(
            model_name='levelsigning',
            constraint=models.CheckConstraint(condition=models.Q(('level__in', ['novice', 'intermediate', 'advanced'])), name='signing_level_known', violation_error_message='level must be one of novice, intermediate, advanced'),
        ),
        migrations.AddConstraint(
            model_name='levelsigning',
            constraint=models.CheckConstraint(condition=models.Q(('highest_fence_cm__gte', 0), ('highest_fence_cm__lte', 160)), name='signing_highest_fence_in_range', violation_error_message='highest_fence_cm must be from 0 to 160'),
        ),
        migrations.AddConstraint(
            model_name='riderstop',
            constraint=models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='rider_stop_reason_filled', violation_error_message='reason must not be empty'),
        ),
        migrations.AddConstraint(
            model_name='riderstop',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('lifted_at__isnull', True), ('lifted_by__isnull', True)), models.Q(('lifted_at__isnull', False), ('lifted_by__isnull', False)), _connector='OR'), name='rider_stop_lifted_by_somebody', violation_error_message='lifted_at and lifted_by are set together'),
        ),
        migrations.AddConstraint(
            model_name='riderstop',
            constraint=models.CheckConstraint(condition=models.Q(('lifted_at__isnull', True), models.Q(('lifted_reason', ''), _negated=True), _connector='OR'), name='rider_stop_lifted_with_a_reason'),
        ),
        migrations.AddConstraint(
            model_name='riderstop',
            constraint=models.CheckConstraint(condition=models.Q(('not_before_date__isnull', True), ('not_before_date__gte', models.F('from_date')), _connector='OR'), name='rider_stop_begins_before_it_ends'),
        ),
        migrations.AddConstraint(
            model_name='riderstop',
            constraint=models.UniqueConstraint(condition=models.Q(('lifted_at__isnull', True)), fields=('rider',), name='rider_stop_one_at_a_time'),
        ),
        migrations.RunPython(install_guards, drop_guards),
    ]
