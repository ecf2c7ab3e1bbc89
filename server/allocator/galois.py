"""Arithmetic in which every difference of two numbers can be divided by: finite fields, and products of them.

The field of q = p^n elements is the polynomials below degree n over the whole numbers modulo p, multiplied modulo
an irreducible one (Lidl and Niederreiter, Finite Fields, chapter 1). An element is written as one whole number,
its coefficients as digits to the base p. For a q that is no prime power there is no field; the product of the
fields of its prime powers serves as far as the smallest of them reaches.
"""

from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np


@dataclass(frozen=True)
class Ring:
    """Addition and multiplication of ``size`` elements 0, 1, ...

    plus, times   (size, size) int
    diagonal      elements any two of which differ by one that can be divided by; as many as there can be
    """

    plus: np.ndarray
    times: np.ndarray
    diagonal: tuple[int, ...]


@cache
def ring(size: int) -> Ring:
    """The field of ``size`` elements where that is a prime power, else the product of those of its parts."""
    plus = times = np.zeros((1, 1), dtype=np.int64)
    diagonals: list[range] = []
    places: list[int] = []
    for prime, power in _prime_powers(size):
        own_plus, own_times = _field(prime, power)
        diagonals.append(range(len(own_plus)))
        places.append(len(plus))
        plus, times = _pair(plus, own_plus), _pair(times, own_times)
    steps = zip(*diagonals, strict=False)
    diagonal = tuple(sum(part * place for part, place in zip(step, places, strict=True)) for step in steps)
    return Ring(plus, times, diagonal or (0,))


def _prime_powers(size: int) -> list[tuple[int, int]]:
    """Primes and their powers of which ``size`` is the product."""
    found = []
    prime = 2
    while size > 1:
        power = 0
        while size % prime == 0:
            size //= prime
            power += 1
        if power:
            found.append((prime, power))
        prime += 1
    return found


def _pair(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """The table of pairs (x, y), written x + y len(left), under two tables."""
    size = len(left)
    x, y = np.arange(size * len(right)) % size, np.arange(size * len(right)) // size
    return left[np.ix_(x, x)] + size * right[np.ix_(y, y)]


def _field(prime: int, power: int) -> tuple[np.ndarray, np.ndarray]:
    """Tables of plus and times of the field of prime**power elements."""
    elements = [_digits(number, prime, power) for number in range(prime**power)]
    modulus = _irreducible(prime, power)
    plus = [
        [_number([(a + b) % prime for a, b in zip(x, y, strict=True)], prime) for y in elements]
        for x in elements
    ]
    times = [
        [_number(_reduced(_product(x, y, prime), modulus, prime), prime) for y in elements] for x in elements
    ]
    return np.array(plus, dtype=np.int64), np.array(times, dtype=np.int64)


def _digits(number: int, base: int, count: int) -> list[int]:
    """Coefficients, the constant one first."""
    return [number // base**place % base for place in range(count)]


def _number(digits: list[int], base: int) -> int:
    return sum(digit * base**place for place, digit in enumerate(digits))


def _product(x: list[int], y: list[int], prime: int) -> list[int]:
    total = [0] * (len(x) + len(y) - 1)
    for a, own in enumerate(x):
        for b, other in enumerate(y):
            total[a + b] = (total[a + b] + own * other) % prime
    return total


def _reduced(polynomial: list[int], modulus: list[int], prime: int) -> list[int]:
    """Remainder by a modulus whose highest coefficient is 1."""
    rest = polynomial.copy()
    degree = len(modulus) - 1
    while len(rest) > degree:
        highest = rest.pop()
        for place in range(degree):
            at = len(rest) - degree + place
            rest[at] = (rest[at] - highest * modulus[place]) % prime
    return rest


def _irreducible(prime: int, power: int) -> list[int]:
    """A polynomial of degree ``power`` with highest coefficient 1 that no lower one divides."""
    for low in product(range(prime), repeat=power):
        candidate = [*low, 1]
        divisors = (
            [*_digits(number, prime, degree), 1]
            for degree in range(1, power // 2 + 1)
            for number in range(prime**degree)
        )
        if all(any(_reduced(candidate, divisor, prime)) for divisor in divisors):
            return candidate
    raise AssertionError("there is one for every prime and degree")
