import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("school", "0044_pieces_to_places")]

    operations = [
        # With a default, so that going back fills the column before its names come.
        migrations.AlterField(
            model_name="storepiece",
            name="place",
            field=models.CharField(default="", max_length=60),
        ),
        migrations.RemoveField(model_name="storepiece", name="place"),
        migrations.RenameField(
            model_name="storepiece", old_name="kept_at", new_name="place"
        ),
        migrations.AlterField(
            model_name="storepiece",
            name="place",
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="pieces", to="school.keepingplace"),
        ),
        migrations.AddConstraint(
            model_name="storepiece",
            constraint=models.UniqueConstraint("piece", "place", name="store_piece_once_a_place"),
        ),
    ]
