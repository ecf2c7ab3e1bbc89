import socket

import pytest

from server.services import addresses
from server.services.addresses import own_addresses


@pytest.fixture
def network(monkeypatch):
    """Sets what each way of asking finds."""

    def found(leaving=(), named=(), interfaces=()):
        monkeypatch.setattr(addresses, "_leaving", lambda: list(leaving))
        monkeypatch.setattr(addresses, "_named", lambda: list(named))
        monkeypatch.setattr(addresses, "_of_interfaces", lambda: list(interfaces))

    return found


def test_the_address_that_packets_leave_from_comes_first_and_none_comes_twice(network):
    network(["192.168.8.2"], ["10.0.0.7", "192.168.8.2"], ["127.0.0.1", "192.168.8.2", "172.20.10.2"])
    assert own_addresses() == ("192.168.8.2", "10.0.0.7", "172.20.10.2")


def test_addresses_that_only_this_machine_reaches_are_left_out(network):
    network(["127.0.0.1"], ["127.0.1.1"])
    assert own_addresses() == ()


def test_a_machine_without_a_route_is_no_fault(monkeypatch):
    class NoRoute(socket.socket):
        def connect(self, address):
            raise OSError("Network is unreachable")

    monkeypatch.setattr(addresses.socket, "socket", NoRoute)
    assert addresses._leaving() == []


def test_asking_this_machine_gives_addresses_that_can_be_shown():
    assert all(socket.inet_aton(address) and not address.startswith("127.") for address in own_addresses())
