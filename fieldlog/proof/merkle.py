"""Merkle trees over an ordered list of byte strings, and the proof that leaves are in one (pure).

RFC 9162, section 2.1 (the same tree as in RFC 6962)::

    hash of a leaf  = SHA-256(0x00 || data)
    hash of a node  = SHA-256(0x01 || left || right)
    MTH of n > 1    = node of the first k and the rest, k the largest power of two below n
    MTH of none     = SHA-256("")

``covering``, a tuple of 32-byte hashes, is an inclusion proof of several leaves at once, which
leaves out what the leaves themselves tell: the hashes of the largest subtrees without any of them, from
left to right.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence

Hashes = Sequence[bytes]
EMPTY = hashlib.sha256(b"").digest()


def leaf(data: bytes) -> bytes:
    """Hash of a leaf."""
    return hashlib.sha256(b"\x00" + data).digest()


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


def _split(size: int) -> int:
    """The largest power of two below ``size`` (> 1)."""
    return 1 << ((size - 1).bit_length() - 1)


def root(leaves: Iterable[bytes]) -> bytes:
    """Root over hashes of leaves, read once, in memory that grows with the logarithm of their number."""
    stack: list[bytes] = []
    for count, each in enumerate(leaves, 1):
        grow(stack, each, count)
    return folded(stack)


def grow(stack: list[bytes], each: bytes, count: int) -> None:
    """Put the leaf ``each``, which is number ``count`` from 1, to the roots of the full subtrees."""
    stack.append(each)
    for _ in range((count & -count).bit_length() - 1):
        right = stack.pop()
        stack.append(_node(stack.pop(), right))


def folded(stack: Sequence[bytes]) -> bytes:
    """The root over what ``grow`` has seen."""
    if not stack:
        return EMPTY
    found = stack[-1]
    for each in reversed(stack[:-1]):
        found = _node(each, found)
    return found


def covering(leaves: Hashes, chosen: Iterable[int]) -> tuple[bytes, ...]:
    """What has to be known besides the ``chosen`` leaves to come to the root."""
    wanted = sorted(set(chosen))
    found: list[bytes] = []
    _cover(leaves, 0, len(leaves), wanted, found)
    return tuple(found)


def _cover(leaves: Hashes, low: int, high: int, wanted: Sequence[int], found: list[bytes]) -> None:
    if low == high or (high - low == 1 and wanted):
        return
    if not wanted:
        found.append(root(leaves[low:high]))
        return
    k = low + _split(high - low)
    _cover(leaves, low, k, [each for each in wanted if each < k], found)
    _cover(leaves, k, high, [each for each in wanted if each >= k], found)


def root_of_covering(
    size: int, chosen: Mapping[int, bytes], besides: Sequence[bytes]
) -> bytes | None:
    """The root of ``size`` leaves of which ``chosen`` are known; None where ``besides`` does not fit."""
    if any(not 0 <= index < size for index in chosen) or (size and not chosen and not besides):
        return None
    rest = list(reversed(besides))

    def rise(low: int, high: int, wanted: Sequence[int]) -> bytes:
        if not wanted:
            return rest.pop()
        if high - low == 1:
            return chosen[low]
        k = low + _split(high - low)
        left = rise(low, k, [each for each in wanted if each < k])
        return _node(left, rise(k, high, [each for each in wanted if each >= k]))

    try:
        found = rise(0, size, sorted(chosen)) if size else EMPTY
    except IndexError:
        return None
    return None if rest else found
