"""Logs stay as they were written, whoever writes; people may still be forgotten."""

import pytest
from django.db import IntegrityError, transaction

from school.models import RideLog
from tests.factories.people import AccountFactory
from tests.factories.ride_logs import (
    RiddenRideFactory,
    RideLogFactory,
    RideNoteFactory,
)

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("factory", "change"),
    [
        (RideLogFactory, {"stage": 1}),
        (RideLogFactory, {"note": "other words"}),
        (RideLogFactory, {"measured": [{"gap": 2, "cm": 640}]}),
        (RiddenRideFactory, {"went": "mixed"}),
        (RiddenRideFactory, {"quarter_efforts": 4}),
        (RideNoteFactory, {"often": True}),
        (RideNoteFactory, {"element": 1}),
    ],
)
def test_nothing_of_a_log_can_be_rewritten(factory, change: dict) -> None:
    one = factory()

    with pytest.raises(IntegrityError, match="never_changed"), transaction.atomic():
        type(one).objects.filter(pk=one.pk).update(**change)


def test_an_account_may_be_deleted_and_the_log_stays() -> None:
    by = AccountFactory()
    RideLogFactory(logged_by=by)

    by.delete()

    assert RideLog.objects.get().logged_by is None
