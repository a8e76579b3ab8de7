import logging
from typing import Any

from celery import shared_task
from django.utils import timezone

from scheduling.services.photos import forget_photos
from scheduling.services.runs import carry_out_run, take_up_run
from scheduling.services.sideways import lay_out_moves

log = logging.getLogger(__name__)


@shared_task
def forget_old_photos(**unknown: Any) -> None:
    """Delete the photos of trouble whose time is over."""
    deleted = forget_photos(now=timezone.now())
    if deleted:
        log.info("photos: %s deleted", deleted)


@shared_task
def lay_out_line_moves(**unknown: Any) -> None:
    """Put the moves of lines that are due in the book; what is not done goes on."""
    for one in lay_out_moves(now=timezone.now()):
        log.info("%s is due to move sideways and finds no room", one)


@shared_task
def carry_out_runs(**unknown: Any) -> None:
    """Carry out the searches that were asked for, one after the other."""
    while (run := take_up_run(now=timezone.now())) is not None:
        ended = carry_out_run(run=run, clock=timezone.now)
        log.info("%s of %s is %s", ended.kind, ended.date, ended.state)
