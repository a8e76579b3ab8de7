import logging
from typing import Any

from celery import shared_task
from django.utils import timezone

from scheduling.services.runs import carry_out_run, take_up_run

log = logging.getLogger(__name__)


@shared_task
def carry_out_runs(**unknown: Any) -> None:
    """Carry out the searches that were asked for, one after the other."""
    while (run := take_up_run(now=timezone.now())) is not None:
        ended = carry_out_run(run=run, clock=timezone.now)
        log.info("%s of %s is %s", ended.kind, ended.date, ended.state)
