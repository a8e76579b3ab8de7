"""Settings of the tests: the product's, with quick passwords and mail in memory."""

import os
import tempfile

os.environ.setdefault("SCHOOL_VAR", tempfile.mkdtemp(prefix="school-tests-"))
if os.environ.get("TEST_DATABASE_URL"):
    os.environ["DATABASE_URL"] = os.environ["TEST_DATABASE_URL"]

from school.settings import *  # noqa: F403
from school.settings import DATABASES, VAR_DIR

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"

_suffix = os.environ.get("TEST_DB_SUFFIX", "")
if "sqlite3" in DATABASES["default"]["ENGINE"]:
    # A file, not memory: the races need two real connections.
    DATABASES["default"]["TEST"] = {"NAME": str(VAR_DIR / "test.sqlite3")}
else:
    DATABASES["default"]["TEST"] = {"NAME": f"test_school{_suffix}"}
