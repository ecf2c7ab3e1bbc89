"""Ports for servers that are started by number."""

import secrets
import socket

OWN_PORTS = range(20_000, 32_768)
"""Below those that Linux hands out to whoever asks for any (ip(7), `ip_local_port_range`)."""


def free_port() -> int:
    """One that nobody is given by chance, so that a server that was killed gets it back."""
    while True:
        port = OWN_PORTS[secrets.randbelow(len(OWN_PORTS))]
        try:
            with socket.create_server(("127.0.0.1", port)):
                return port
        except OSError:
            continue
