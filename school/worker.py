"""The background work of an embedded school, in threads beside the web server.

Each entry of the table that Celery's beat follows in served mode has a thread, so
that a long search holds up no mail.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from types import TracebackType
from typing import Any

from django.conf import settings
from django.db import close_old_connections, connections
from django.utils.module_loading import import_string

log = logging.getLogger(__name__)

Work = Callable[[], None]


def work_of_table() -> dict[str, tuple[Work, float]]:
    """Return the periodic work by name, each with its seconds between two rounds."""
    table: Mapping[str, Any] = settings.CELERY_BEAT_SCHEDULE
    return {
        name: (import_string(entry["task"]), entry["schedule"])
        for name, entry in table.items()
    }


class WorkLoop:
    """Works until left; `with WorkLoop(): serve()`."""

    def __init__(self, work: Mapping[str, tuple[Work, float]] | None = None) -> None:
        self._stop = threading.Event()
        self._threads = [
            threading.Thread(
                target=self._run, args=one, name=f"background-{name}", daemon=True
            )
            for name, one in (work_of_table() if work is None else work).items()
        ]

    def __enter__(self) -> "WorkLoop":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        for thread in self._threads:
            # What is at work longer ends with the process, and is taken up again.
            thread.join(timeout=5)

    @property
    def running(self) -> bool:
        """Whether a thread is at work."""
        return any(thread.is_alive() for thread in self._threads)

    def _run(self, work: Work, every_s: float) -> None:
        try:
            while not self._stop.is_set():
                work_once(work)
                self._stop.wait(every_s)
        finally:
            # The connection belongs to this thread; nobody else can close it.
            connections.close_all()


def work_once(work: Work) -> None:
    """Do what is due once; an error is logged, and the next round tries again."""
    close_old_connections()
    try:
        work()
    except Exception:
        log.exception("background work failed; it is tried again")
    finally:
        close_old_connections()
