"""A certificate of one's own: what is read of it, and what is said of one that cannot be used."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from server.certificates import Certificate, CertificateError, read
from tests.own_certificates import Authority

NOW = datetime(2026, 5, 16, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="module")
def pair(authority):
    return authority.make()


def refused(certificate, key=None):
    with pytest.raises(CertificateError) as error:
        read(certificate, key)
    return str(error.value)


def lasting(**values):
    return Certificate(**{"names": ("a.example",), "begins": NOW, "ends": NOW + timedelta(days=90), **values})


def test_names_addresses_and_days_are_read(pair):
    found = read(*pair)
    assert found.names == ("field.example", "localhost", "*.wild.example", "127.0.0.1")
    assert found.ends - found.begins == timedelta(days=90)
    assert found.cautions(datetime.now(UTC)) == []


def test_the_key_may_stand_in_the_same_file(pair, tmp_path):
    both = tmp_path / "both.pem"
    both.write_bytes(pair[0].read_bytes() + pair[1].read_bytes())
    assert read(both, None).names[0] == "field.example"


def test_those_between_it_and_its_root_may_stand_behind_it(pair, authority, tmp_path):
    chain = tmp_path / "chain.pem"
    chain.write_bytes(pair[0].read_bytes() + authority.file.read_bytes())
    assert read(chain, pair[1]).names[0] == "field.example"


def test_a_file_that_is_not_there_is_named(pair, tmp_path):
    missing = tmp_path / "missing.pem"
    assert refused(missing, pair[1]) == f"There is no file {missing}, which should hold the certificate."
    assert refused(pair[0], missing) == f"There is no file {missing}, which should hold the key."


def test_a_file_that_may_not_be_read_is_told_with_the_cure(pair, monkeypatch):
    def shut(*_arguments, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_text", shut)
    told = refused(*pair)
    assert told.endswith(
        "cannot be read: Permission denied. Make it readable for the user who starts Bandstand."
    )


def test_a_folder_in_place_of_a_file_is_told(pair, tmp_path):
    assert "cannot be read: Is a directory" in refused(tmp_path, pair[1])


def test_a_key_of_another_certificate_does_not_fit(authority, pair):
    other = authority.make("other")[1]
    assert refused(pair[0], other).startswith(f"The key {other} does not fit the certificate {pair[0]}.")


def test_the_wrong_order_of_certificates_is_named_as_a_cause(authority, pair, tmp_path):
    chain = tmp_path / "chain.pem"
    chain.write_bytes(authority.file.read_bytes() + pair[0].read_bytes())
    assert "the server's own must come first" in refused(chain, pair[1])


@pytest.mark.parametrize("form", [("pkey",), ("ec",)], ids=["today's form", "the older form"])
def test_an_encrypted_key_is_told_with_the_command_that_writes_it_out(authority, pair, tmp_path, form):
    locked = tmp_path / "locked.key"
    authority.run(*form, "-in", pair[1], "-aes256", "-passout", "pass:secret words", "-out", locked)
    assert f"openssl pkey -in {locked} -out plain-key.pem" in refused(pair[0], locked)


def test_no_certificate_in_the_file_is_told(pair):
    assert "holds no certificate in PEM form" in refused(pair[1], pair[1])


def test_no_key_is_told_with_where_to_name_it(pair):
    assert refused(pair[0]).endswith("holds no private key in PEM form. Name the file of its key with --key.")
    assert refused(pair[0], pair[0]).endswith("Give the key that the certificate was made for.")


def test_a_damaged_certificate_is_told(pair, tmp_path):
    damaged = tmp_path / "damaged.pem"
    damaged.write_text(pair[0].read_text().replace("M", "N", 3))
    assert refused(damaged, pair[1]).startswith(
        f"The certificate {damaged} with the key {pair[1]} cannot be used"
    )


@pytest.mark.parametrize("which", [0, 1], ids=["certificate", "key"])
def test_a_file_that_is_cut_short_is_told_with_the_cure(pair, tmp_path, which):
    files = list(pair)
    files[which] = tmp_path / "short.pem"
    whole = pair[which].read_text()
    files[which].write_text(whole[: len(whole) // 2])
    told = refused(*files)
    assert str(files[which]) in told
    assert "cut short or damaged: copy it again, whole, from each line -----BEGIN" in told


def test_one_that_is_for_no_server_is_told_with_what_would_be(authority, tmp_path):
    certificate, key = authority.make("person", names="DNS:a.example\nextendedKeyUsage=clientAuth")
    assert "Have one made for a web server" in refused(certificate, key)


def test_a_key_that_is_too_short_is_told_with_which_would_do(authority, tmp_path):
    certificate, key = tmp_path / "short.pem", tmp_path / "short.key"
    made = ("req", "-x509", "-newkey", "rsa:512", "-nodes", "-subj", "/CN=a", "-days", "9")
    authority.run(*made, "-keyout", key, "-out", certificate)
    assert "Have one made with a longer key" in refused(certificate, key)


def test_an_expired_one_is_read_all_the_same_and_warned_of(authority):
    found = read(*authority.make("expired", days=-1))
    assert found.names[0] == "field.example"
    told = found.cautions(datetime.now(UTC))
    assert told == [
        f"The certificate expired on {found.ends:%Y-%m-%d}: browsers warn everybody. Have it renewed."
    ]


def test_one_without_a_name_is_warned_of(authority):
    told = read(*authority.make("nameless", names="")).cautions(datetime.now(UTC))
    assert told == ["The certificate names no host, so browsers refuse it: have one made with a name."]


@pytest.mark.parametrize(
    ("later", "words"),
    [
        (timedelta(seconds=-1), "counts from 2026-05-16 only"),
        (timedelta(0), ""),
        (timedelta(days=76), ""),
        (timedelta(days=76, seconds=1), "expires on 2026-08-14. Have it renewed."),
        (timedelta(days=90), "expires on 2026-08-14. Have it renewed."),
        (timedelta(days=90, seconds=1), "expired on 2026-08-14"),
    ],
)
def test_what_is_told_of_its_days(later, words):
    told = " ".join(lasting().cautions(NOW + later))
    assert words in told
    assert bool(told) == bool(words)


@pytest.mark.parametrize(
    ("name", "port", "origins"),
    [
        ("a.example", 8443, ("https://a.example:8443",)),
        ("a.example", 443, ("https://a.example",)),
        ("2001:db8::1", 8443, ("https://[2001:db8::1]:8443",)),
        ("*.a.example", 8443, ()),
    ],
)
def test_where_browsers_are_content_with_it(name, port, origins):
    assert lasting(names=(name,)).origins(port) == origins
