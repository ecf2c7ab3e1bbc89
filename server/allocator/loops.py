"""Copies and sums of arrays as plain loops.

For ``target[:] = source`` numba also compiles what makes the words of an error message, which takes two seconds,
and for its sums an iterator over any shape.
"""

from server.allocator.compiled import compiled_part


@compiled_part
def copy_into(target, source):
    """Copy source (k,) into target (k,)."""
    for x in range(source.shape[0]):
        target[x] = source[x]


@compiled_part
def total(values):
    """Sum of values (k,), in their order."""
    found = 0.0
    for x in range(values.shape[0]):
        found += values[x]
    return found
