"""What the core is asked and answers cannot be changed afterwards: a plan stays what it was computed from."""

import dataclasses
import importlib
import pkgutil

import pytest

import server.radio

MODULES = [found.name for found in pkgutil.iter_modules(server.radio.__path__, "server.radio.")]
MODULES += ["server.allocator.problem", "server.allocator.plan", "server.allocator.heat"]


def value_classes(module):
    return [
        one
        for one in vars(importlib.import_module(module)).values()
        if dataclasses.is_dataclass(one) and one.__module__ == module
    ]


@pytest.mark.parametrize("module", MODULES)
def test_values_are_frozen(module):
    assert [one.__name__ for one in value_classes(module) if not one.__dataclass_params__.frozen] == []


def test_values_are_found_where_they_are():
    assert [one.__name__ for one in value_classes("server.radio.site")] == [
        "Parameter",
        "Receiver",
        "Site",
    ]
