"""A real IMAP server on loopback for a test: Dovecot, in a folder of its own."""

import getpass
import imaplib
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

USER, PASSWORD = "lessons", "mailbox-word"

CONF = """
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/log
protocols = imap
listen = 127.0.0.1
ssl = no
disable_plaintext_auth = no
default_internal_user = {user}
default_login_user = {user}
default_internal_group = {group}
mail_location = maildir:{folder}/mail
first_valid_uid = 1
passdb {{
  driver = static
  args = password={password}
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={folder}/home
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {port}
  }}
  inet_listener imaps {{
    port = 0
  }}
}}
service anvil {{
  chroot =
}}
"""


@dataclass(frozen=True, slots=True)
class Mailbox:
    """A mailbox that answers on loopback."""

    port: int

    def put(self, raw: bytes) -> None:
        """Lay a mail into it as a mail server would."""
        with imaplib.IMAP4("127.0.0.1", self.port, 60) as box:
            box.login(USER, PASSWORD)
            status, said = box.append("INBOX", None, None, raw)
            assert status == "OK", said

    def unseen(self) -> int:
        """Return how many mails nobody has looked at."""
        with imaplib.IMAP4("127.0.0.1", self.port, 60) as box:
            box.login(USER, PASSWORD)
            box.select("INBOX", readonly=True)
            return len(box.uid("SEARCH", "UNSEEN")[1][0].split())


def _dovecot() -> str:
    found = shutil.which("dovecot", path=f"{os.environ['PATH']}:/usr/sbin")
    if found is None and os.environ.get("REQUIRE_READERS"):
        raise RuntimeError("REQUIRE_READERS is set, and there is no dovecot")
    if found is None:
        pytest.skip("no mailbox is read: install dovecot-imapd")
    return found


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as held:
        return int(held.getsockname()[1])


@contextmanager
def imap_server() -> Iterator[Mailbox]:
    """Serve an empty mailbox until left."""
    program, port = _dovecot(), _free_port()
    with TemporaryDirectory(prefix="imap") as folder:
        # Mail is never given to the superuser, so another owns the mailbox.
        root = os.geteuid() == 0
        user, group = ("nobody", "nogroup") if root else (getpass.getuser(), "")
        uid, gid = (65534, 65534) if root else (os.getuid(), os.getgid())
        conf = CONF.format(
            folder=folder,
            user=user,
            group=group or os.getgid(),
            uid=uid,
            gid=gid,
            port=port,
            password=PASSWORD,
        )
        path = Path(folder, "conf")
        path.write_text(conf)
        for name in ("mail", "home", "state"):
            Path(folder, name).mkdir()
            os.chown(Path(folder, name), uid, gid)
        Path(folder).chmod(0o755)
        server = subprocess.Popen([program, "-F", "-c", str(path)])
        try:
            _wait_for(port, server, Path(folder, "log"))
            yield Mailbox(port)
        finally:
            server.terminate()
            server.wait(timeout=60)


def _wait_for(port: int, server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + 120
    while time.monotonic() < end:
        if server.poll() is not None:
            break
        try:
            with socket.create_connection(("127.0.0.1", port), timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    said = log.read_text() if log.exists() else "nothing"
    raise RuntimeError(f"the mail server did not start: {said}")
