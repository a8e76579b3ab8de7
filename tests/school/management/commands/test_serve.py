import os
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from school.management.commands.serve import answer_on, behind_proxy

ROOT = Path(__file__).resolve().parents[4]


@pytest.fixture
def taken_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        yield taken.getsockname()[1]


@pytest.fixture
def free_port():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_serving_stops_cleanly_when_told_to(free_port, tmp_path, number):
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "school.settings",
        "SCHOOL_VAR": str(tmp_path),
        "DATABASE_URL": f"sqlite:///{tmp_path}/school.sqlite3",
        "PYTHONUNBUFFERED": "1",
    }
    with subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", str(free_port)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as process:
        watchdog = threading.Timer(30, process.kill)
        watchdog.start()
        first = process.stdout.readline()
        process.send_signal(number)
        rest = process.stdout.read()
        code = process.wait()
        watchdog.cancel()

    assert first == (f"Serving at http://127.0.0.1:{free_port}. Stop with Ctrl-C.\n")
    assert (rest, code) == ("Stopped.\n", 0)


def test_a_taken_port_is_said_in_words(taken_port, settings, monkeypatch):
    monkeypatch.delenv("BASE_URL", raising=False)
    settings.BASE_URL = settings.BASE_URL

    with pytest.raises(CommandError, match=r"choose another --port"):
        call_command("serve", port=taken_port)


def test_addresses_name_the_port_that_is_served(settings, monkeypatch):
    monkeypatch.delenv("BASE_URL", raising=False)
    settings.BASE_URL = "http://127.0.0.1:8000"

    answer_on(8765)

    assert settings.BASE_URL == "http://127.0.0.1:8765"


def test_an_address_that_was_set_stays(settings, monkeypatch):
    monkeypatch.setenv("BASE_URL", "http://192.0.2.7:8000")
    settings.BASE_URL = "http://192.0.2.7:8000"

    answer_on(8765)

    assert settings.BASE_URL == "http://192.0.2.7:8000"


def test_the_proxy_is_believed_in_served_mode_alone(settings):
    settings.SERVED = False
    assert behind_proxy() == {}

    settings.SERVED = True
    assert "x-forwarded-proto" in behind_proxy()["trusted_proxy_headers"]
