"""What is written to the log, and how: lines for people, or one JSON object a line for programs.

No line holds a private link or a password, whoever wrote it: requests are named by the pattern of their address,
and what looks like a secret in a message or a traceback is blotted out before it is written.
"""

import json
import logging
import logging.config
import re
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

PLAIN, JSON = "plain", "json"

BLOT = "…"
_END = r"[^/\s?&\"'<>\\]+"  # not past a quote or a backslash either: a line of JSON stays one
_SECRETS = (
    re.compile(rf"(?<=/slot/)(?!{{token}}){_END}"),
    re.compile(rf"(?<=token=){_END}"),
    re.compile(rf"(?<=[?&]me=){_END}"),
    re.compile(r"(?<=://)[^/\s:@\"'\\]*:[^/\s@\"'\\]+(?=@)"),
)
SHORTEST_SECRET = 16
"""Letters of the shortest random text by which anybody is let in; no part of our own addresses is as long."""


@dataclass(frozen=True)
class Asked:
    """The request that is being answered.

    number  by which its page and its lines in the log are told apart from others
    sent    its address and its cookies, so that no line repeats what is secret in them
    """

    number: str
    sent: str = ""


NOTHING_ASKED = Asked("")
current_request: ContextVar[Asked] = ContextVar("current_request", default=NOTHING_ASKED)


def without_secrets(text: str) -> str:
    """The text without private links, passwords in addresses, and what the present request was let in by."""
    for secret in _SECRETS:
        text = secret.sub(BLOT, text)
    for word in re.split(r"[/?&=;.\s]+", current_request.get().sent):
        if len(word) >= SHORTEST_SECRET:
            text = text.replace(word, BLOT)
    return text


class PlainLines(logging.Formatter):
    """`2026-05-16 14:05:09 ERROR [1a2b3c4d] what happened`, with its traceback below."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s%(request)s %(message)s", "%Y-%m-%d %H:%M:%S")

    def format(self, record: logging.LogRecord) -> str:
        number = current_request.get().number
        record.request = f" [{number}]" if number else ""
        return without_secrets(super().format(record))


class JsonLines(logging.Formatter):
    """One JSON object a line; a traceback is its `error`."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC)
        facts: dict[str, Any] = {
            "time": at.isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "message": record.getMessage().strip(),
            "request": current_request.get().number,
            **getattr(record, "facts", {}),
        }
        if record.exc_info:
            facts["error"] = self.formatException(record.exc_info)
        told = {name: value for name, value in facts.items() if value not in ("", None)}
        return without_secrets(json.dumps(told, ensure_ascii=False))


def configuration(form: str) -> dict[str, Any]:
    """For `logging.config.dictConfig`, in this process and in each that serves.

    Plain lines tell what goes wrong, JSON lines every request too.
    """
    lines = JsonLines if form == JSON else PlainLines
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"lines": {"()": f"{lines.__module__}.{lines.__qualname__}"}},
        "handlers": {"error stream": {"class": "logging.StreamHandler", "formatter": "lines"}},
        "root": {"handlers": ["error stream"], "level": "WARNING"},
        "loggers": {
            "bandstand": {"level": "INFO" if form == JSON else "WARNING"},
            # The server's own lines of requests hold whole addresses.
            "uvicorn.access": {"level": "CRITICAL", "propagate": False},
        },
    }


def configure(form: str) -> None:
    """Write the log of this process in one of the two forms."""
    logging.config.dictConfig(configuration(form))
