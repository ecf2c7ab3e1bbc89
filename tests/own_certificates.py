"""Certificates of an authority of the tests' own, made by openssl."""

import shutil
import subprocess
from pathlib import Path

import pytest

NAMES = "DNS:field.example,DNS:localhost,DNS:*.wild.example,IP:127.0.0.1"
_KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")


class Authority:
    """Makes certificates in a folder; `file` is what a browser has to trust."""

    def __init__(self, folder: Path) -> None:
        if shutil.which("openssl") is None:
            pytest.skip("openssl is not installed here")
        self.folder = folder
        self.file, self._key = folder / "authority.pem", folder / "authority.key"
        self.run(
            "req",
            "-x509",
            *_KEY,
            "-keyout",
            self._key,
            "-out",
            self.file,
            "-days",
            "90",
            "-subj",
            "/CN=Authority",
        )

    def make(self, name: str = "field", days: int = 90, names: str = NAMES) -> tuple[Path, Path]:
        """A certificate and its key; `days` from now until it expires."""
        certificate, key, request = (self.folder / f"{name}.{end}" for end in ("pem", "key", "req"))
        more = self.folder / f"{name}.ext"
        more.write_text(f"subjectAltName={names}\n" if names else "basicConstraints=CA:FALSE\n")
        self.run("req", *_KEY, "-keyout", key, "-out", request, "-subj", f"/CN={name}")
        signed_by = ("-CA", self.file, "-CAkey", self._key, "-CAcreateserial")
        self.run(
            "x509", "-req", "-in", request, *signed_by, "-days", days, "-extfile", more, "-out", certificate
        )
        return certificate, key

    @staticmethod
    def run(*arguments: object) -> None:
        subprocess.run(["openssl", *map(str, arguments)], check=True, capture_output=True, timeout=60)
