import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("school", "0042_tables_of_instructors")]

    operations = [
        # Here, so that going back holds it only once the names are back.
        migrations.RemoveConstraint(
            model_name="storepiece", name="store_piece_once_a_place"
        ),
        migrations.CreateModel(
            name="KeepingPlace",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60, unique=True)),
                ("arena", models.ForeignKey(blank=True, help_text="Whose own pieces they are; empty: the whole yard's", null=True, on_delete=django.db.models.deletion.SET_NULL, related_name="keeping_places", to="school.arena")),
            ],
        ),
        migrations.AddConstraint(
            model_name="keepingplace",
            constraint=models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="keeping_place_name_filled", violation_error_message="name must not be empty"),
        ),
        migrations.AddField(
            model_name="storepiece",
            name="kept_at",
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name="pieces", to="school.keepingplace"),
        ),
    ]
