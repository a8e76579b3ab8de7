"""Serves the pages: one process in embedded mode, behind a proxy in served mode."""

import contextlib
import os
import signal
import socket
from argparse import ArgumentParser
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from waitress.server import create_server  # type: ignore[import-untyped]

from school.worker import WorkLoop
from school.wsgi import application

HOST = "127.0.0.1"
PORT = 8000


class Command(BaseCommand):
    help = "Serves the pages; in embedded mode with the background work beside them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default=HOST)
        parser.add_argument("--port", type=int, default=PORT)

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        answer_on(port)
        try:
            listening = socket.create_server((host, port))
        except OSError as error:
            raise CommandError(
                f"{host}:{port} can't be used ({error.strerror}). "
                "Is it served already? Else choose another --port."
            ) from error
        server = create_server(
            application, sockets=[listening], threads=8, **behind_proxy()
        )
        # A stop by the system is as good as one by hand: both end the loop cleanly.
        signal.signal(signal.SIGTERM, _stop)
        try:
            with contextlib.nullcontext() if settings.SERVED else WorkLoop():
                self.stdout.write(f"Serving at {settings.BASE_URL}. Stop with Ctrl-C.")
                self.stdout.flush()
                server.run()
        except (KeyboardInterrupt, SystemExit):
            # Told to stop before the loop had begun, which ends by itself.
            server.close()
        self.stdout.write("Stopped.")


def answer_on(port: int) -> None:
    """Let addresses that are given out name the port that is served.

    Only where nobody has said under which address the school is reached.
    """
    if not settings.SERVED and not os.environ.get("BASE_URL"):
        settings.BASE_URL = f"http://{HOST}:{port}"


def behind_proxy() -> dict[str, Any]:
    """Return what the server is told of the proxy before it, in served mode."""
    if not settings.SERVED:
        return {}
    return {
        "trusted_proxy": "*",
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": "x-forwarded-for x-forwarded-proto",
        "clear_untrusted_proxy_headers": True,
    }


def _stop(number: int, frame: FrameType | None) -> None:
    raise SystemExit(0)
