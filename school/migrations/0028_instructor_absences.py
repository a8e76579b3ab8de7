import django.db.models.deletion
from django.db import migrations, models

from school.models.guards import (
    drop_absence_guards,
    drop_guards,
    install_absence_guards,
    install_guards,
)


class Migration(migrations.Migration):

    dependencies = [
        ('school', '0027_who_came'),
    ]

    operations = [
        migrations.RunPython(drop_guards, install_guards),
        migrations.CreateModel(
            name='InstructorAbsence',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('absent_from', models.DateTimeField()),
                ('absent_to', models.DateTimeField()),
                ('reason', models.CharField(help_text='For the manager alone', max_length=120)),
            ],
        ),
        migrations.RemoveConstraint(
            model_name='occupancy',
            name='occupancy_source_known',
        ),
        migrations.AddConstraint(
            model_name='occupancy',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['lesson', 'ride', 'closure', 'state', 'absence'])), name='occupancy_source_known', violation_error_message='source must be one of lesson, ride, closure, state, absence'),
        ),
        migrations.AddField(
            model_name='instructorabsence',
            name='instructor',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='absences', to='school.instructor'),
        ),
        migrations.AddConstraint(
            model_name='instructorabsence',
            constraint=models.CheckConstraint(condition=models.Q(('absent_from__lt', models.F('absent_to'))), name='absence_begins_before_it_ends', violation_error_message='absent_from must come before absent_to'),
        ),
        migrations.AddConstraint(
            model_name='instructorabsence',
            constraint=models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='absence_reason_filled', violation_error_message='reason must not be empty'),
        ),
        migrations.RunPython(install_guards, drop_guards),
        migrations.RunPython(install_absence_guards, drop_absence_guards),
    ]
