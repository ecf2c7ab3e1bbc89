"""Under which addresses other devices on the same network reach this machine."""

import ipaddress
import socket
import sys

if sys.platform == "linux":
    import fcntl

# TEST-NET-1: no such machine exists. Connecting a datagram socket sends nothing, it only asks the routing table.
_NOWHERE = ("192.0.2.1", 9)
_SIOCGIFADDR = 0x8915
"""Linux: the address of an interface. Source: netdevice(7)."""


def own_addresses() -> tuple[str, ...]:
    """IPv4 addresses of this machine, the one that packets leave from first; empty without a network."""
    found = [*_leaving(), *_named(), *_of_interfaces()]
    return tuple(dict.fromkeys(address for address in found if _is_for_others(address)))


def _leaving() -> list[str]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_NOWHERE)
        except OSError:  # no route at all: a switch or a hotspot without internet
            return []
        return [probe.getsockname()[0]]


def _named() -> list[str]:
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET, socket.SOCK_STREAM)
    except OSError:
        return []
    return [str(address[0]) for *_, address in found]


def _of_interfaces() -> list[str]:
    """What Linux says of each interface; elsewhere the machine's own name leads to all of them."""
    if sys.platform != "linux":
        return []
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            try:
                answer = fcntl.ioctl(probe, _SIOCGIFADDR, name.encode()[:15].ljust(256, b"\0"))
            except OSError:  # an interface without an address
                continue
            found.append(socket.inet_ntoa(answer[20:24]))
    return found


def _is_for_others(address: str) -> bool:
    return not ipaddress.ip_address(address).is_loopback
