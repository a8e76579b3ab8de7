"""The settings refuse what would be unsafe, and say how to mend it."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAFE = {
    "SCHOOL_MODE": "served",
    "SECRET_KEY": "k" * 50,
    "BASE_URL": "https://lessons.example.org",
    "ALLOWED_HOSTS": "lessons.example.org",
    "DATABASE_URL": "postgres://school@127.0.0.1/school",
    "EMAIL_HOST": "mail.example.org",
    "REDIS_URL": "redis://127.0.0.1/0",
}


def start(tmp_path: Path, **env: str) -> subprocess.CompletedProcess[str]:
    clean = {"PATH": os.environ["PATH"], "SCHOOL_VAR": str(tmp_path)}
    return subprocess.run(
        [sys.executable, "-c", "import school.settings as s; print(s.DATABASES)"],
        cwd=ROOT,
        env=clean | env,
        capture_output=True,
        text=True,
    )


def test_a_served_school_starts_with_all_that_it_needs(tmp_path: Path) -> None:
    done = start(tmp_path, **SAFE)

    assert "postgresql" in done.stdout


@pytest.mark.parametrize("name", sorted(set(SAFE) - {"SCHOOL_MODE"}))
def test_a_served_school_does_not_start_without(tmp_path: Path, name: str) -> None:
    done = start(tmp_path, **{k: v for k, v in SAFE.items() if k != name})

    assert done.returncode != 0
    assert f"SCHOOL_MODE=served needs {name}" in done.stderr


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"SECRET_KEY": "short"}, "at least 50 characters"),
        ({"BASE_URL": "http://lessons.example.org"}, "must begin with https://"),
        ({"ALLOWED_HOSTS": "*"}, "must name the hosts"),
        ({"DATABASE_URL": "sqlite:///x"}, "must name a PostgreSQL database"),
        ({"SCHOOL_MODE": "fast"}, "must be 'embedded' or 'served'"),
    ],
    ids=["short-secret", "no-https", "any-host", "sqlite", "unknown-mode"],
)
def test_a_served_school_does_not_start_unsafe(
    tmp_path: Path, changes: dict[str, str], says: str
) -> None:
    done = start(tmp_path, **(SAFE | changes))

    assert done.returncode != 0
    assert says in done.stderr


def test_an_embedded_school_makes_its_secret_once_and_keeps_it(tmp_path: Path) -> None:
    start(tmp_path)
    first = (tmp_path / "secret.key").read_text()
    start(tmp_path)

    assert len(first) >= 50
    assert (tmp_path / "secret.key").read_text() == first
    assert (tmp_path / "secret.key").stat().st_mode & 0o077 == 0


def test_every_variable_stands_in_the_readme() -> None:
    code = (ROOT / "school/settings.py").read_text()
    named = set(re.findall(r"""(?:env\.\w+|_required)\(\s*"([A-Z_]+)\"""", code))

    missing = {n for n in named if f"`{n}`" not in (ROOT / "README.md").read_text()}

    assert len(named) >= 12
    assert missing == set()
