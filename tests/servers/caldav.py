"""A real CalDAV server on loopback for a test: Radicale, in a folder of its own."""

import http.client
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from xml.etree import ElementTree

from tests.mailserver import free_port

HOME = "/sam/lessons/"
EXPAND = """<?xml version="1.0" encoding="utf-8"?>
<C:calendar-query xmlns:D="DAV:" xmlns:C="urn:ietf:params:xml:ns:caldav">
  <D:prop><C:calendar-data>
    <C:expand start="{first}" end="{last}"/>
  </C:calendar-data></D:prop>
  <C:filter><C:comp-filter name="VCALENDAR"><C:comp-filter name="VEVENT">
    <C:time-range start="{first}" end="{last}"/>
  </C:comp-filter></C:comp-filter></C:filter>
</C:calendar-query>
"""


@dataclass(frozen=True, slots=True)
class CalDav:
    """A calendar on a server that answers on loopback."""

    port: int

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(method, path, body, headers)
            response = connection.getresponse()
            return response.status, response.read()
        finally:
            connection.close()

    def put(self, name: str, body: bytes) -> int:
        """Keep one entry; return the server's status."""
        kind = {"Content-Type": "text/calendar; charset=utf-8"}
        return self.ask("PUT", f"{HOME}{name}", body, **kind)[0]

    def occurrences(self, first: datetime, last: datetime) -> list[bytes]:
        """Return the entries as the server itself expands them (RFC 4791 9.6.5)."""
        form = "%Y%m%dT%H%M%SZ"
        query = EXPAND.format(
            first=first.astimezone(UTC).strftime(form),
            last=last.astimezone(UTC).strftime(form),
        )
        _, answer = self.ask(
            "REPORT", HOME, query.encode(), Depth="1", **{"Content-Type": "text/xml"}
        )
        tag = "{urn:ietf:params:xml:ns:caldav}calendar-data"
        found = ElementTree.fromstring(answer).iter(tag)  # noqa: S314 -- our own server's
        return [(one.text or "").encode() for one in found]


@contextmanager
def caldav_server() -> Iterator[CalDav]:
    """Serve an empty calendar until left."""
    port = free_port()
    with TemporaryDirectory(prefix="caldav") as folder:
        command = [sys.executable, "-m", "radicale", "--config", ""]
        command += ["--server-hosts", f"127.0.0.1:{port}", "--auth-type", "none"]
        rights = Path(folder, "rights")
        rights.write_text("[all]\nuser: .*\ncollection: .*\npermissions: RrWw\n")
        command += ["--storage-filesystem-folder", folder]
        command += ["--rights-type", "from_file", "--rights-file", str(rights)]
        server = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        try:
            caldav = CalDav(port)
            _wait_for(caldav, server)
            yield caldav
        finally:
            server.terminate()
            server.wait(timeout=60)


def _wait_for(caldav: CalDav, server: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + 120
    while time.monotonic() < end and server.poll() is None:
        try:
            caldav.ask("MKCOL", "/sam/")
            status, _ = caldav.ask("MKCALENDAR", HOME)
        except OSError:
            time.sleep(0.2)
            continue
        assert status == 201, status
        return
    raise RuntimeError("the CalDAV server did not start")
