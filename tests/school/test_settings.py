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


def assigned(text: str, sign: str) -> dict[str, str]:
    """Return the lines of upper-case names with what stands behind the sign."""
    return dict(re.findall(rf"^ *([A-Z_]+){sign} *(.*)$", text, re.MULTILINE))


def test_the_example_filled_in_starts_what_compose_runs(tmp_path: Path) -> None:
    compose = (ROOT / "docker-compose.yml").read_text()
    asked = assigned((ROOT / ".env.example").read_text(), "=")
    filled = {
        "SECRET_KEY": "k" * 50,
        "POSTGRES_PASSWORD": "pass",
        "EMAIL_HOST": "mail.example.org",
    }
    given = assigned(compose.partition("\nservices:")[0], ":")
    given["DATABASE_URL"] = re.sub(
        r"\$\{POSTGRES_PASSWORD.*?\}", "pass", given["DATABASE_URL"]
    )

    done = start(tmp_path, **(asked | filled | given))

    assert set(filled) <= set(asked)
    assert given["SCHOOL_MODE"] == "served"
    assert "'HOST': 'db'" in done.stdout


def test_an_example_that_is_not_filled_in_starts_nothing(tmp_path: Path) -> None:
    asked = assigned((ROOT / ".env.example").read_text(), "=")

    done = start(tmp_path, **asked, SCHOOL_MODE="served")

    assert "SCHOOL_MODE=served needs SECRET_KEY" in done.stderr


def test_every_service_that_runs_the_app_has_the_photos() -> None:
    compose = (ROOT / "docker-compose.yml").read_text()
    app, _, services = compose.partition("\nservices:")

    assert 'volumes: ["photos:/srv/var/photos"]' in app
    # A list of its own would take the place of the common one.
    for one in re.findall(r"<<: \*app\n((?:    .*\n)+)", services):
        assert "volumes:" not in one
