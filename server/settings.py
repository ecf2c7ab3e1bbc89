"""Every setting of a running Bandstand, in one place: its environment variable, its default, its meaning.

`Settings.from_environment` reads the BANDSTAND_* variables; `explained` prints this table for `--help`.
"""

import os
from collections.abc import Callable, Mapping
from dataclasses import Field, dataclass, field, fields
from pathlib import Path
from typing import Any

import platformdirs
from babel import Locale

from server.logs import JSON, PLAIN
from server.wording import DEFAULT_LOCALE, locale_named

PREFIX = "BANDSTAND_"


class SettingError(ValueError):
    """An environment variable or an option of the command line holds something that cannot be used."""

    def __init__(self, where: str, text: str, cure: str) -> None:
        super().__init__(f"{where} is {text!r}: {cure}")
        self.where = where
        self.text = text
        self.cure = cure


def _default_data_folder() -> Path:
    return Path(platformdirs.user_data_dir("bandstand", appauthor=False))


def _database(text: str) -> str:
    if not text.startswith(("postgresql://", "postgres://")):
        raise ValueError
    return text


def _port(text: str) -> int:
    number = int(text)
    if not 0 <= number <= 65535:
        raise ValueError
    return number


def _positive(text: str) -> float:
    number = float(text)
    if not 0 < number < float("inf"):
        raise ValueError
    return number


def _positive_int(text: str) -> int:
    number = int(text)
    if number <= 0:
        raise ValueError
    return number


def _natural(text: str) -> int:
    number = int(text)
    if number < 0:
        raise ValueError
    return number


def _log_form(text: str) -> str:
    if text not in (PLAIN, JSON):
        raise ValueError
    return text


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.replace(",", " ").split())


def _path(text: str) -> Path:
    if not text:
        raise ValueError
    return Path(text).expanduser().absolute()


def _setting(parse: Callable[[str], Any], meaning: str, cure: str, **default: Any) -> Any:
    return field(metadata={"parse": parse, "meaning": meaning, "cure": cure}, **default)


@dataclass(frozen=True)
class Settings:
    data: Path = _setting(  # noqa: RUF009 it returns a dataclass field
        _path,
        "folder of the data file and its backup copies",
        "give a folder, for instance /home/you/bandstand",
        default_factory=_default_data_folder,
    )
    backups: Path | None = _setting(  # noqa: RUF009 it returns a dataclass field
        _path,
        "folder of the backups of the data file; another disk is best (none: backups in the data folder)",
        "give a folder, for instance /media/stick/bandstand",
        default=None,
    )
    backup_minutes: float = _setting(
        _positive,
        "minutes between two backups while something changes; each publish makes one too",
        "give a number of minutes above 0",
        default=10.0,
    )
    backups_kept: int = _setting(
        _positive_int,
        "newest backups to keep, besides the last one of each of the last 14 days that have one",
        "give a whole number above 0",
        default=20,
    )
    database: str = _setting(
        _database,
        "PostgreSQL database that holds the days in place of the data file, for several workers and many clubs",
        "give an address such as postgresql://bandstand@localhost/bandstand",
        default="",
    )
    host: str = _setting(
        str, "address to listen on; 127.0.0.1 keeps phones out", "give an address", default="0.0.0.0"
    )
    port: int = _setting(_port, "port to listen on", "give a number from 0 to 65535", default=8000)
    workers: int = _setting(
        _positive_int,
        "server processes; more than one needs a PostgreSQL database",
        "give a whole number above 0",
        default=1,
    )
    certificate: Path | None = _setting(  # noqa: RUF009 it returns a dataclass field
        _path,
        "file of this server's own certificate, PEM, to speak https in place of http",
        "give a file, for instance /etc/bandstand/certificate.pem",
        default=None,
    )
    key: Path | None = _setting(  # noqa: RUF009 it returns a dataclass field
        _path,
        "file of the certificate's private key, PEM (none: it stands in the file of the certificate)",
        "give a file, for instance /etc/bandstand/key.pem",
        default=None,
    )
    allowed_hosts: tuple[str, ...] = _setting(
        _words,
        "host names besides localhost, private addresses and .local under which pages may be asked for",
        "give names separated by spaces",
        default=(),
    )
    public_origins: tuple[str, ...] = _setting(
        _words,
        "origins that browsers see when a proxy stands in front, for instance https://field.example",
        "give origins separated by spaces",
        default=(),
    )
    trusted_proxies: tuple[str, ...] = _setting(
        _words,
        "addresses of proxies whose word on who asks and on https is taken: X-Forwarded-For, X-Forwarded-Proto",
        "give addresses separated by spaces",
        default=("127.0.0.1", "::1"),
    )
    hsts_days: int = _setting(
        _natural,
        "days for which browsers, once they came by https, refuse plain http under this name; 0 never says so",
        "give a whole number of days, 0 or more",
        default=0,
    )
    heartbeat_s: float = _setting(
        _positive,
        "seconds between two signs of life on a live page",
        "give a number of seconds above 0",
        default=2.0,
    )
    stream_life_s: float = _setting(
        _positive,
        "seconds after which a live page reconnects",
        "give a number of seconds above 0",
        default=3600.0,
    )
    session_hours: float = _setting(
        _positive, "hours that the director stays signed in", "give a number of hours above 0", default=72.0
    )
    locale: Locale = _setting(  # noqa: RUF009 it returns a dataclass field
        locale_named,
        "language and habits of writing figures and dates, for instance en_GB or en_US",
        "give a locale such as en_GB",
        default=Locale.parse(DEFAULT_LOCALE),
    )
    log: str = _setting(
        _log_form,
        "form of the log: plain lines that say what goes wrong, or json, an object a line that tells each request",
        "give a form, plain or json",
        default=PLAIN,
    )
    body_limit_kib: int = _setting(
        _positive_int, "largest upload in KiB", "give a whole number above 0", default=4096
    )

    @property
    def scheme(self) -> str:
        """What this server speaks itself; a proxy in front may speak another."""
        return "https" if self.certificate else "http"

    @property
    def database_file(self) -> Path:
        return self.data / "bandstand.sqlite"

    @property
    def backup_folder(self) -> Path:
        return self.backups or self.data / "backups"

    @property
    def place(self) -> Path | str:
        """Where the days are kept: the PostgreSQL database if one is set, else the data file."""
        return self.database or self.database_file

    @classmethod
    def from_environment(
        cls, environment: Mapping[str, str] = os.environ, options: Mapping[str, str | None] | None = None
    ) -> "Settings":
        """Read the BANDSTAND_* variables; an option of the same name wins, `--port` over BANDSTAND_PORT.

        Raises SettingError naming the variable or option that cannot be used.
        """
        values = {}
        for item in fields(cls):
            option = (options or {}).get(item.name)
            text = environment.get(variable_of(item)) if option is None else option
            if text is not None:
                values[item.name] = _parsed(
                    item, text, variable_of(item) if option is None else f"--{item.name}"
                )
        return cls(**values)


def environment_of(settings: Settings) -> dict[str, str]:
    """The variables from which `Settings.from_environment` reads these settings in another process."""
    values = {item: getattr(settings, item.name) for item in fields(Settings)}
    return {
        variable_of(item): " ".join(value) if isinstance(value, tuple) else str(value)
        for item, value in values.items()
        if value not in ("", None)
    }


def variable_of(item: "Field[Any]") -> str:
    return PREFIX + item.name.upper()


def _parsed(item: "Field[Any]", text: str, where: str) -> Any:
    try:
        return item.metadata["parse"](text.strip())
    except ValueError as error:
        raise SettingError(where, text, item.metadata["cure"]) from error


def explained() -> str:
    """The settings as a table for people: variable, default, meaning."""
    defaults = Settings()
    rows = []
    for item in fields(Settings):
        value = getattr(defaults, item.name)
        shown = (" ".join(value) if isinstance(value, tuple) else value) or "none"
        rows.append(f"{variable_of(item)}\n    {item.metadata['meaning']} (default: {shown})")
    return "\n".join(rows)
