"""Merkle trees over an ordered list of byte strings, and proofs about them (pure).

RFC 9162, section 2.1 (the same tree as in RFC 6962)::

    hash of a leaf  = SHA-256(0x00 || data)
    hash of a node  = SHA-256(0x01 || left || right)
    MTH of n > 1    = node of the first k and the rest, k the largest power of two below n
    MTH of none     = SHA-256("")

Proofs are tuples of 32-byte hashes. ``covering`` is an inclusion proof of several leaves at once, which
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


def inclusion(leaves: Hashes, index: int) -> tuple[bytes, ...]:
    """PATH(index, leaves) of RFC 9162, section 2.1.3.1."""
    if len(leaves) == 1:
        return ()
    k = _split(len(leaves))
    if index < k:
        return (*inclusion(leaves[:k], index), root(leaves[k:]))
    return (*inclusion(leaves[k:], index - k), root(leaves[:k]))


def root_of_inclusion(of: bytes, index: int, size: int, path: Sequence[bytes]) -> bytes | None:
    """The root that ``path`` leads to from the leaf hash ``of``; None where it cannot be a path.

    RFC 9162, section 2.1.3.2.
    """
    if not 0 <= index < size:
        return None
    fn, sn, found = index, size - 1, of
    for each in path:
        if sn == 0:
            return None
        if fn & 1 or fn == sn:
            found = _node(each, found)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            found = _node(found, each)
        fn, sn = fn >> 1, sn >> 1
    return found if sn == 0 else None


def consistency(leaves: Hashes, first: int) -> tuple[bytes, ...]:
    """PROOF(first, leaves) of RFC 9162, section 2.1.4.1, for 0 < first <= the number of leaves."""
    return _sub_proof(leaves, first, True)


def _sub_proof(leaves: Hashes, first: int, whole: bool) -> tuple[bytes, ...]:
    if first == len(leaves):
        return () if whole else (root(leaves),)
    k = _split(len(leaves))
    if first <= k:
        return (*_sub_proof(leaves[:k], first, whole), root(leaves[k:]))
    return (*_sub_proof(leaves[k:], first - k, False), root(leaves[:k]))


def is_consistent(
    first: int, second: int, first_root: bytes, second_root: bytes, path: Sequence[bytes]
) -> bool:
    """Whether ``path`` shows that the tree of ``second`` leaves begins with that of ``first``.

    RFC 9162, section 2.1.4.2. Every tree begins with the empty one.
    """
    if first == 0 or first == second:
        return not path and (first_root == second_root or first == 0)
    if not 0 < first < second or not path:
        return False
    rest = list(path)
    if first & (first - 1) == 0:
        rest.insert(0, first_root)
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    fr = sr = rest[0]
    for each in rest[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr, sr = _node(each, fr), _node(each, sr)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            sr = _node(sr, each)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and fr == first_root and sr == second_root


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
