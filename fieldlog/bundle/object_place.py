"""An object store as a place for bundles: S3 and what speaks like it, through obstore.

Nothing but put, get, head and list by prefix is asked of it: names come from content, so putting twice is
putting once, and no condition is needed that stores understand differently.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from fieldlog.bundle.parts import LONGEST_LIST, BundlePart
from fieldlog.errors import OwnTroubleError, StoreError


class ObjectPlace:
    """A bucket, or a prefix in one. All errors are ``StoreError``."""

    def __init__(self, store: Any, named: str) -> None:
        """``store``: an object store of obstore; ``named``: how it is called in messages."""
        self._store, self.named = store, named

    def lists(self) -> frozenset[str]:
        """Names of the bundles that are there whole."""
        import obstore

        with self._told():
            found = [each["path"] for batch in obstore.list(self._store, "lists") for each in batch]
        return frozenset(path.rpartition("/")[2] for path in found)

    def has(self, part: BundlePart) -> bool:
        """Whether an object of that name and size is there."""
        import obstore

        with self._told():
            try:
                return bool(obstore.head(self._store, _at(part))["size"] == part.size)
            except FileNotFoundError:
                return False

    def put(self, part: BundlePart, data: bytes) -> None:
        """Put a part there; it appears when all of it is there."""
        import obstore

        with self._told():
            obstore.put(self._store, _at(part), data)

    def put_list(self, name: str, data: bytes) -> str:
        """Put a list there."""
        import obstore

        with self._told():
            obstore.put(self._store, f"lists/{name}", data)
        return ""

    def get(self, part: BundlePart) -> bytes | None:
        """The bytes of a part, of which no more are read than it can have."""
        return self._first(_at(part), part.size)

    def get_list(self, name: str) -> bytes | None:
        """A list."""
        return self._first(f"lists/{name}", LONGEST_LIST)

    def close(self) -> None:
        """An object store holds nothing."""

    def _first(self, path: str, most: int) -> bytes | None:
        import obstore

        with self._told():
            try:
                size = obstore.head(self._store, path)["size"]
                if size == 0:
                    return b""
                end = min(size, most + 1)
                return bytes(obstore.get_range(self._store, path, start=0, end=end))
            except FileNotFoundError:
                return None

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        from obstore.exceptions import BaseError

        try:
            yield
        except FileNotFoundError:
            raise
        except (BaseError, OSError, ValueError) as error:
            first = next((line.strip() for line in str(error).splitlines() if line.strip()), "")
            raise OwnTroubleError(
                f"the object store does not do it ({first[:200]})",
                where=self.named,
                todo="see to it and repeat: what was handed over stays, and the rest follows",
            ) from error


def object_place(address: str) -> ObjectPlace:
    """The place at ``s3://bucket/prefix``; keys and endpoint come from the environment (``AWS_...``)."""
    try:
        from obstore.store import from_url
    except ImportError as error:
        raise StoreError(
            "an object store needs a library that is not installed",
            where=address,
            todo="pip install 'fieldlog[object-store]'",
        ) from error
    from obstore.exceptions import BaseError

    try:
        return ObjectPlace(from_url(address), address)
    except (BaseError, ValueError) as error:
        first = next(iter(str(error).splitlines()), "")
        raise StoreError(
            f"is no address of an object store ({first[:200]})",
            where=address,
            todo="write it like s3://bucket/bays, and set AWS_ACCESS_KEY_ID and the others",
        ) from error


def _at(part: BundlePart) -> str:
    return f"parts/{part.sha256[:2]}/{part.sha256}"
