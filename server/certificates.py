"""A certificate of the keeper's own and its key: whether a server can use them, and what they say.

Everything is found out before the server starts, by the same library that will use it: the pair is loaded, and one
handshake between two ends in memory shows what a browser would get.
"""

import ssl
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

SOON = timedelta(days=14)
_BEGINS, _ENDS = "-----BEGIN CERTIFICATE-----", "-----END CERTIFICATE-----"
_NO_CHECK_TIME = 0x200000
"""OpenSSL's X509_V_FLAG_NO_CHECK_TIME, which the module ssl has no name for: an expired one is still read."""


class CertificateError(Exception):
    """Certificate or key cannot be used; the message says why and what would be right."""


@dataclass(frozen=True)
class Certificate:
    """What a certificate says: for which names and addresses it is, and from when until when."""

    names: tuple[str, ...]
    begins: datetime
    ends: datetime

    def cautions(self, at: datetime) -> list[str]:
        """What browsers will complain of, or soon, as sentences."""
        found = []
        if not self.names:
            found.append("The certificate names no host, so browsers refuse it: have one made with a name.")
        if at > self.ends:
            found.append(
                f"The certificate expired on {self.ends:%Y-%m-%d}: browsers warn everybody. Have it renewed."
            )
        elif at < self.begins:
            found.append(
                f"The certificate counts from {self.begins:%Y-%m-%d} only: browsers warn everybody until then. "
                "Is the clock of this machine right?"
            )
        elif at > self.ends - SOON:
            found.append(f"The certificate expires on {self.ends:%Y-%m-%d}. Have it renewed.")
        return found

    def origins(self, port: int) -> tuple[str, ...]:
        """Under which https addresses a browser is content with it; a pattern such as *.field.example is none."""
        hosts = (f"[{name}]" if ":" in name else name for name in self.names if "*" not in name)
        return tuple(f"https://{host}" if port == 443 else f"https://{host}:{port}" for host in hosts)


def read(certificate: Path, key: Path | None) -> Certificate:
    """Try a certificate with its key; without a file for the key it must stand beside the certificate.

    Raises CertificateError.
    """
    chain = _text(certificate, "certificate")
    if _BEGINS not in chain:
        raise CertificateError(
            f"{certificate} holds no certificate in PEM form, which begins with {_BEGINS}. "
            "Give the certificate of this server, with those between it and its root behind it."
        )
    key_file = key or certificate
    _check_key(key_file, chain if key is None else _text(key, "key"), key is None)
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        server.load_cert_chain(certificate, key_file, password="")
        told = _shown_to_a_browser(server, chain)
    except ssl.SSLCertVerificationError as error:
        raise CertificateError(
            f"The certificate {certificate} cannot be used for a server: {error.verify_message}. "
            "Have one made for a web server (extended key usage: server authentication), with its names in it."
        ) from error
    except ssl.SSLError as error:
        raise CertificateError(_why_not(error, certificate, key_file)) from error
    return Certificate(
        names=tuple(name for kind, name in told.get("subjectAltName", ()) if kind in ("DNS", "IP Address")),
        begins=_moment(told["notBefore"]),
        ends=_moment(told["notAfter"]),
    )


def _text(file: Path, what: str) -> str:
    try:
        return file.read_text("ascii", errors="replace")
    except FileNotFoundError:
        raise CertificateError(f"There is no file {file}, which should hold the {what}.") from None
    except OSError as error:
        raise CertificateError(
            f"{file}, which should hold the {what}, cannot be read: {error.strerror}. "
            "Make it readable for the user who starts Bandstand."
        ) from None


def _check_key(file: Path, text: str, is_beside: bool) -> None:
    if "PRIVATE KEY-----" not in text:
        cure = (
            "Name the file of its key with --key."
            if is_beside
            else "Give the key that the certificate was made for."
        )
        raise CertificateError(f"{file} holds no private key in PEM form. {cure}")
    if "BEGIN ENCRYPTED PRIVATE KEY" in text or "4,ENCRYPTED" in text:
        raise CertificateError(
            f"The key {file} is encrypted, and nobody is there to type its pass phrase at every start. Write it "
            f"out without one, readable for you alone: openssl pkey -in {file} -out plain-key.pem"
        )


def _why_not(error: ssl.SSLError, certificate: Path, key: Path) -> str:
    if error.reason == "KEY_VALUES_MISMATCH":
        return (
            f"The key {key} does not fit the certificate {certificate}. Give the key that it was made for; where "
            "the file holds several certificates, the server's own must come first."
        )
    reason = (error.reason or str(error)).replace("_", " ").lower()
    said = f"The certificate {certificate} with the key {key} cannot be used: {reason}."
    if "too small" in reason or "too weak" in reason:
        return f"{said} Have one made with a longer key and today's hash: EC P-256, or RSA 2048, and SHA-256."
    return (
        f"{said} One of the files is cut short or damaged: copy it again, whole, from each line -----BEGIN …----- "
        "to its -----END …-----, as whoever made the certificate gave it."
    )


def _shown_to_a_browser(server: ssl.SSLContext, chain: str) -> dict[str, Any]:
    """What the other end of a handshake learns. It trusts just this certificate, at any time."""
    browser = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    browser.check_hostname = False
    browser.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN | _NO_CHECK_TIME
    own = chain[chain.index(_BEGINS) : chain.index(_ENDS) + len(_ENDS)]
    browser.load_verify_locations(cadata=own)
    there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
    asking = browser.wrap_bio(back, there)
    answering = server.wrap_bio(there, back, server_side=True)
    for _ in range(3):  # there and back, and once more for what TLS 1.3 sends afterwards
        for end in (asking, answering):
            with suppress(ssl.SSLWantReadError):
                end.do_handshake()
    return dict(asking.getpeercert() or {})


def _moment(text: str) -> datetime:
    return datetime.fromtimestamp(ssl.cert_time_to_seconds(text), UTC)
