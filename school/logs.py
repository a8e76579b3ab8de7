"""Keeps the secrets of calendar addresses and signed links out of the logs."""

import logging
import re

_SECRET = re.compile(r"(/agenda/[^/\s]+/|/my/|/today/)[^/\s\"']+")


class HideFeedTokens(logging.Filter):
    """Replace the token in every record that speaks of such an address."""

    def filter(self, record: logging.LogRecord) -> bool:
        message = record.getMessage()
        hidden = _SECRET.sub(r"\1…", message)
        if hidden != message:
            record.msg, record.args = hidden, None
        return True
