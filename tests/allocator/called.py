"""Compiled parts that only compiled functions can call, made ready to be called from a test."""

from collections.abc import Callable
from typing import Any

from numba import njit


def called(part: Callable[..., Any]) -> Callable[..., Any]:
    """A function that hands its arguments to the part."""

    def call(*arguments):  # type: ignore[no-untyped-def]
        return part(*arguments)

    return njit(call)  # type: ignore[no-any-return]
