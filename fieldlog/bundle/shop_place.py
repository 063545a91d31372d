"""A shop's server as a place for bundles: what a bay sends is taken at once, and the answer says so.

The address that the shop prints has a one-use code behind its ``#`` and the fingerprint of the shop's
certificate authority. The bay fetches the authority's certificate, holds it against that, and from
then on talks to nobody who has not a certificate of it. The code becomes a secret of this bay's own, kept with
its keys.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import ssl
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from fieldlog.bundle.parts import BundlePart
from fieldlog.errors import OwnTroubleError, StoreError, UsageError
from fieldlog.whole import refused, write_whole

FILE = "shops.json"
"""Beside the keys of a bay: the shops that let it in, each with the bay's secret and its authority."""
SLOWEST_S = 60.0
"""Checking and taking a large bundle takes the shop a while."""
MOST_ANSWER = 16 << 20


class ShopPlace:
    """The server of a shop that has let this bay in."""

    def __init__(self, address: str, keys: Path, name: str = "bay") -> None:
        """``address``: as the shop printed it, or without what is behind ``#`` once it was let in.

        ``keys``: folder of this machine's keys. Raises ``UsageError`` and ``StoreError``.
        """
        parts = urlsplit(address)
        try:
            port = parts.port
        except ValueError:
            port = None
        if parts.scheme != "https" or not parts.hostname or not port:
            raise UsageError(
                "is no address of a shop", where=address.partition("#")[0],
                todo="take the one that `fieldlog bundle receive` prints there",
            )  # fmt: skip
        self._host, self._port = parts.hostname, port
        self.named = f"https://{self._host}:{port}"
        self._book = keys / FILE
        self._cookie = self._token = ""
        self._line: http.client.HTTPSConnection | None = None
        given = parse_qs(parts.fragment)
        try:
            if "code" in given:
                self._join(given["code"][0], given.get("sha256", [""])[0], name)
            self._come_in()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Hang up; calling it twice is harmless."""
        if self._line is not None:
            self._line.close()

    # -- what a place does ------------------------------------------------------------------------

    def lists(self) -> frozenset[str]:
        """Names of the bundles that were handed over."""
        return frozenset(self._json("GET", "/handover/lists")["lists"])

    def has(self, part: BundlePart) -> bool:
        """Whether the part is there."""
        return bool(self._json("GET", f"/handover/part/{part.sha256}?size={part.size}")["there"])

    def put(self, part: BundlePart, data: bytes) -> None:
        """Put a part there."""
        self._json("PUT", f"/handover/part/{part.sha256}", data)

    def put_list(self, name: str, data: bytes) -> str:
        """Put a list there; what the shop took of it. ``StoreError`` where it set the bundle aside."""
        return str(self._json("PUT", f"/handover/list/{name}", data)["told"])

    def get(self, part: BundlePart) -> bytes | None:
        """A shop gives nothing out this way."""
        raise self._only_takes()

    def get_list(self, name: str) -> bytes | None:
        """A shop gives nothing out this way."""
        raise self._only_takes()

    def _only_takes(self) -> UsageError:
        return UsageError(
            "a shop's server only takes", where=self.named, todo="fieldlog bundle send"
        )

    # -- coming in --------------------------------------------------------------------------------

    def _join(self, code: str, wanted: str, name: str) -> None:
        """Trade the code for a secret of this bay's own."""
        blind = ssl.create_default_context()
        blind.check_hostname, blind.verify_mode = False, ssl.CERT_NONE
        self._dial(blind)
        authority = self._ask("GET", "/handover/authority", None, {})[1].decode("ascii", "replace")
        try:
            held = hashlib.sha256(ssl.PEM_cert_to_DER_cert(authority)).hexdigest()
        except ValueError:
            held = ""
        if held != wanted.replace(":", "").lower():
            raise StoreError(
                "this is not the shop whose address it is: its certificate is another one",
                where=self.named,
                todo="take the address anew from the shop's screen",
            )
        self._dial(ssl.create_default_context(cadata=authority))
        headers, body = self._ask("POST", "/enter", code.encode(), self._origin())
        self._cookie = headers.get("set-cookie", "").partition(";")[0]
        self._token = str(json.loads(body)["token"])
        told = self._json("POST", "/handover/join", name.encode("utf-8", "replace"))
        book = self._shops()
        cookie = f"{self._cookie.partition('=')[0]}={told['secret']}"
        book[self.named] = {"cookie": cookie, "secret": told["secret"], "authority": authority}
        text = json.dumps(book, indent=1).encode()
        with refused("cannot be written", self._book):
            write_whole(self._book, text, 0o600)

    def _come_in(self) -> None:
        kept = self._shops().get(self.named)
        if kept is None:
            raise UsageError(
                "this shop has not let this bay in yet",
                where=self.named,
                todo="give the whole address that `fieldlog bundle receive` prints there",
            )
        self._dial(ssl.create_default_context(cadata=kept["authority"]))
        self._cookie = kept["cookie"]
        self._token = hashlib.sha256(f"token {kept['secret']}".encode()).hexdigest()

    def _shops(self) -> dict[str, dict[str, str]]:
        try:
            found: dict[str, dict[str, str]] = json.loads(self._book.read_text("utf-8"))
            return found
        except FileNotFoundError:
            return {}
        except (OSError, ValueError) as error:
            raise StoreError(f"cannot be read ({error})", where=str(self._book)) from error

    def _dial(self, trust: ssl.SSLContext) -> None:
        self.close()
        self._line = http.client.HTTPSConnection(
            self._host, self._port, context=trust, timeout=SLOWEST_S
        )

    def _origin(self) -> dict[str, str]:
        return {"Origin": self.named}

    def _json(self, method: str, path: str, body: bytes | None = None) -> dict[str, Any]:
        headers = {**self._origin(), "Cookie": self._cookie, "x-fieldlog-token": self._token}
        found: dict[str, Any] = json.loads(self._ask(method, path, body, headers)[1])
        return found

    def _ask(
        self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]
    ) -> tuple[Mapping[str, str], bytes]:
        """What the shop answers; asked once more where the line was cut in between: it is the same again."""
        assert self._line is not None
        for last in (False, True):
            try:
                self._line.request(method, path, body, dict(headers))
                answer = self._line.getresponse()
                data = answer.read(MOST_ANSWER)
                break
            except (OSError, http.client.HTTPException) as error:
                self._line.close()
                if last or isinstance(error, ssl.SSLCertVerificationError | ConnectionRefusedError):
                    raise OwnTroubleError(
                        f"the shop does not answer ({getattr(error, 'strerror', None) or error})",
                        where=self.named,
                        todo="see that it runs and can be reached, and repeat: what was handed over stays",
                    ) from error
        if answer.status >= 300:
            raise self._refused(answer.status, data)
        return {key.lower(): value for key, value in answer.getheaders()}, data

    def _refused(self, status: int, data: bytes) -> StoreError:
        try:
            what = str(json.loads(data)["what"])
        except (ValueError, KeyError, TypeError):
            what = data.decode("utf-8", "replace").strip()[:200]
        kind = StoreError if status == 422 else OwnTroubleError
        todo = (
            "ask there for a new address" if status in {401, 403} else "see to it there, and repeat"
        )
        return kind(f"the shop says: {what or status}", where=self.named, todo=todo)
