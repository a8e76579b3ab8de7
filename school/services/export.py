"""Everything a manager keeps, written out in one press, and that it was noted."""

import io
import zipfile
from datetime import datetime

from django.db import transaction

from school.models import Account
from school.queries.everything import everything
from school.queries.schools import the_school
from school.services.audit import record
from school.tables.writing import as_book, as_csv


def export_everything(*, form: str, by: Account, now: datetime) -> bytes:
    """Return every table: a zip of CSV files, or as "xlsx" a sheet of a workbook each.

    Each handing out is on record.
    """
    with transaction.atomic():
        record(
            by=by, at=now, action="export everything", subject=the_school(),
            after={"form": form},
        )  # fmt: skip
        if form == "xlsx":
            return as_book((one.name, one.titles, one.rows) for one in everything())
        body = io.BytesIO()
        with zipfile.ZipFile(body, "w", zipfile.ZIP_DEFLATED) as packed:
            for one in everything():
                name = one.name.replace("'", "").replace(",", "").replace(" ", "-")
                packed.writestr(f"{name}.csv", as_csv(one.titles, one.rows))
        return body.getvalue()
