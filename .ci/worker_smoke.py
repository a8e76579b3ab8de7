"""Start Celery's worker on Redis, put one task in, and wait until it is done."""

import os
import subprocess
import sys
import time
from pathlib import Path
from tempfile import mkdtemp

ROOT = Path(__file__).resolve().parent.parent
VAR = mkdtemp(prefix="school-worker-")
QUEUE = f"smoke-{os.getpid()}"
FLAGS = ["-Q", QUEUE, "--loglevel=INFO", "--pool=solo", "--without-mingle"]
os.environ |= {
    "DJANGO_SETTINGS_MODULE": "school.settings",
    "SCHOOL_VAR": VAR,
    "REDIS_URL": os.environ.get("REDIS_URL", "redis://127.0.0.1:6379/9"),
}


def main() -> int:
    """Return 0 when the worker took the task and said so."""
    sys.path.insert(0, str(ROOT))
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, check=True
    )
    import django  # noqa: PLC0415 -- after the settings

    django.setup()
    from school.tasks import deliver_messages  # noqa: PLC0415 -- after the set-up

    log = Path(VAR, "worker.log")
    with log.open("w") as out:
        worker = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "celery",
                "-A",
                "school",
                "worker",
                "-Q",
                QUEUE,
                *FLAGS,
            ],
            cwd=ROOT,
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    try:
        deliver_messages.apply_async(queue=QUEUE)
        end = time.monotonic() + 60
        while time.monotonic() < end:
            if "school.tasks.deliver_messages" in log.read_text() and (
                "succeeded" in log.read_text()
            ):
                print("the worker took the task from Redis and did it")
                return 0
            time.sleep(0.5)
        print(log.read_text())
        return 1
    finally:
        worker.terminate()
        worker.wait(timeout=30)


if __name__ == "__main__":
    sys.exit(main())
