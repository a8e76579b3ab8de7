"""Makes a row of every place that pieces are kept at; one named like an arena is its."""

from typing import Any

from django.db import migrations


def places_from_names(apps: Any, _: Any) -> None:
    place, piece = (
        apps.get_model("school", name) for name in ("KeepingPlace", "StorePiece")
    )
    arenas = {one.name.casefold(): one for one in apps.get_model("school", "Arena").objects.all()}
    for one in piece.objects.order_by("pk"):
        one.kept_at, _ = place.objects.get_or_create(
            name=one.place, defaults={"arena": arenas.get(one.place.casefold())}
        )
        one.save(update_fields=["kept_at"])


def names_from_places(apps: Any, _: Any) -> None:
    for one in apps.get_model("school", "StorePiece").objects.select_related("kept_at"):
        one.place = one.kept_at.name
        one.save(update_fields=["place"])


class Migration(migrations.Migration):
    dependencies = [("school", "0043_keeping_places")]

    operations = [migrations.RunPython(places_from_names, names_from_places)]
