from dataclasses import fields
from pathlib import Path

import platformdirs
import pytest
from babel import Locale

from server.settings import SettingError, Settings, environment_of, explained, variable_of


def test_defaults_need_no_environment():
    configured = Settings.from_environment({})
    assert configured == Settings()
    assert (
        configured.database_file == Path(platformdirs.user_data_dir("bandstand", False)) / "bandstand.sqlite"
    )


@pytest.mark.parametrize(
    ("variable", "text", "name", "value"),
    [
        ("BANDSTAND_DATA", "/srv/field days", "data", Path("/srv/field days")),
        ("BANDSTAND_DATA", "~/days", "data", Path.home() / "days"),
        ("BANDSTAND_DATA", "days", "data", Path.cwd() / "days"),
        ("BANDSTAND_HOST", " 127.0.0.1 ", "host", "127.0.0.1"),
        ("BANDSTAND_PORT", "0", "port", 0),
        ("BANDSTAND_PORT", "65535", "port", 65535),
        ("BANDSTAND_ALLOWED_HOSTS", "a.example, b.example", "allowed_hosts", ("a.example", "b.example")),
        ("BANDSTAND_PUBLIC_ORIGINS", "", "public_origins", ()),
        ("BANDSTAND_HEARTBEAT_S", "0.5", "heartbeat_s", 0.5),
        ("BANDSTAND_BODY_LIMIT_KIB", "64", "body_limit_kib", 64),
        ("BANDSTAND_WORKERS", "4", "workers", 4),
        ("BANDSTAND_LOG", "json", "log", "json"),
        ("BANDSTAND_CERTIFICATE", "/srv/own.pem", "certificate", Path("/srv/own.pem")),
        ("BANDSTAND_KEY", "/srv/own.key", "key", Path("/srv/own.key")),
        ("BANDSTAND_TRUSTED_PROXIES", "10.0.0.2", "trusted_proxies", ("10.0.0.2",)),
        ("BANDSTAND_TRUSTED_PROXIES", "", "trusted_proxies", ()),
        ("BANDSTAND_HSTS_DAYS", "30", "hsts_days", 30),
        ("BANDSTAND_LOCALE", "de-CH", "locale", Locale("de", "CH")),
        ("BANDSTAND_DATABASE", "postgresql://a@b/c", "database", "postgresql://a@b/c"),
    ],
)
def test_a_variable_sets(variable, text, name, value):
    assert getattr(Settings.from_environment({variable: text}), name) == value


@pytest.mark.parametrize(
    ("variable", "text"),
    [
        ("BANDSTAND_DATA", " "),
        ("BANDSTAND_PORT", "65536"),
        ("BANDSTAND_PORT", "-1"),
        ("BANDSTAND_PORT", "http"),
        ("BANDSTAND_HEARTBEAT_S", "0"),
        ("BANDSTAND_HEARTBEAT_S", "nan"),
        ("BANDSTAND_SESSION_HOURS", "inf"),
        ("BANDSTAND_BODY_LIMIT_KIB", "0.5"),
        ("BANDSTAND_BODY_LIMIT_KIB", "0"),
        ("BANDSTAND_WORKERS", "0"),
        ("BANDSTAND_LOG", "xml"),
        ("BANDSTAND_CERTIFICATE", ""),
        ("BANDSTAND_HSTS_DAYS", "-1"),
        ("BANDSTAND_LOCALE", "xx_YY"),
        ("BANDSTAND_DATABASE", "sqlite:///days.sqlite"),
    ],
)
def test_a_variable_that_cannot_be_used_is_named_with_its_cure(variable, text):
    with pytest.raises(SettingError) as refused:
        Settings.from_environment({variable: text})
    assert str(refused.value).startswith(f"{variable} is {text!r}: give a")


def test_an_option_wins_over_the_variable_and_is_named_as_typed():
    environment = {"BANDSTAND_PORT": "1", "BANDSTAND_HOST": "127.0.0.1"}
    configured = Settings.from_environment(environment, {"port": "2", "host": None})
    assert (configured.port, configured.host) == (2, "127.0.0.1")
    with pytest.raises(SettingError, match=r"^--port is 'x'"):
        Settings.from_environment(environment, {"port": "x"})


def test_another_process_reads_the_same_settings_from_its_environment():
    configured = Settings(
        data=Path("/srv/days"),
        database="postgresql://a@b/c",
        port=1,
        workers=3,
        allowed_hosts=("a.b", "c.d"),
        trusted_proxies=(),
        certificate=Path("/srv/own.pem"),
    )
    assert Settings.from_environment(environment_of(configured)) == configured
    assert Settings.from_environment(environment_of(Settings())) == Settings()


@pytest.mark.parametrize("item", fields(Settings), ids=lambda item: item.name)
def test_every_setting_is_explained(item):
    assert f"{variable_of(item)}\n    {item.metadata['meaning']} (default: " in explained()
