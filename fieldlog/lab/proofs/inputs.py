"""What is read from outside: good inputs to be spoilt, special ones, and what reads each."""

from __future__ import annotations

import io
import os
import wave
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from fieldlog import config
from fieldlog.lab.proofs.shops import START, fill, picture, ticking

Make = Callable[[Path], None]


@dataclass(frozen=True)
class Campaign:
    """One kind of input."""

    name: str
    reads: str
    """What reads it, as the user calls it."""
    file: str
    seeds: tuple[bytes, ...]
    run: Callable[[Path], object]
    special: Mapping[str, Make]
    words: tuple[bytes, ...]
    """What is put in at random places."""
    share: int = 1
    """Of how many cases one is done: each is as many inputs."""


TEXT = (
    b"[", b"]", b"{", b"}", b"(", b"<", b">", b'"', b"'''", b'"""', b"=", b",", b"|", b";", b"\\u0000", b"\x00", b"\x1b[2J",
    "\u202e".encode(), b"\xff\xfe", b"9" * 400, b"1e999", b"-", b"/0", b"nan", b"\n" * 50, b"[" * 3000, b"a." * 3000, b"#include",
)  # fmt: skip
_BYTES = (b"\x00" * 8, b"\xff" * 8, b"RIFF", b"data", b"\xff\xd8", b"\xff\xe1", b"Exif\x00\x00", b"PK\x03\x04", b"\x7f\xff\xff\xff")  # fmt: skip


def write(data: bytes) -> Make:
    """Makes a file of ``data``."""
    return lambda path: _ignored(path.write_bytes(data))


def _ignored(_: object) -> None:
    """Nothing."""


def _sparse(path: Path) -> None:
    """5 GB of nothing, which take no room."""
    with path.open("wb") as stream:
        stream.truncate(5 << 30)


def _headed(head: bytes) -> Make:
    """5 GB of nothing behind a good head."""

    def make(path: Path) -> None:
        with path.open("wb") as stream:
            stream.write(head)
            stream.truncate(5 << 30)

    return make


def _listed(path: Path) -> None:
    """The end of an archive that says that nearly all of 3 GB is its list of members."""
    size = 3 << 30
    with path.open("wb") as stream:
        stream.truncate(size - 22)
        stream.seek(size - 22)
        stream.write(b"PK\x05\x06\x00\x00\x00\x00\x01\x00\x01\x00")
        stream.write((size - 22).to_bytes(4, "little") + bytes(4) + b"\x00\x00")


_FILES: dict[str, Make] = {
    "empty": write(b""),
    "a pipe": lambda path: os.mkfifo(path),
    "a folder": lambda path: path.mkdir(),
    "5 GB of nothing": _sparse,
    "a link to itself": lambda path: path.symlink_to(path),
    "no file": lambda path: None,
}
_TOML: dict[str, Make] = {
    **_FILES,
    "100,000 nested lists": write(b"a = " + b"[" * 100_000),
    "50,000 nested tables": write(b"a = " + b"{a=" * 50_000),
    "a name of 20,000 parts": write(b"[" + b"a." * 20_000 + b"a]\n"),
    "20,000 names of 20 parts": write(
        b"".join(b"[" + b".".join([b"a"] * 20) + b"%d]\n" % n for n in range(20_000))
    ),
    "control sequences": write(b'title = "\\u001b[2J\\u202e"\n[[limit]]\nid = "\\u0007"\n'),
    "a number of 100,000 digits": write(b"a = " + b"9" * 100_000),
}


def campaigns(folder: Path) -> list[Campaign]:
    """All of them; good inputs are made in ``folder``."""
    from fieldlog.lab.proofs.phone_inputs import phone_messages, phone_requests

    return [
        _bundle(folder),
        _lines(folder),
        _wav(),
        _photo(),
        _grammar(),
        _pack(),
        _walk(),
        _catalogue(),
        _setting(),
        _against(folder),
        _typed(),
        _http(folder),
        phone_requests(folder),
        phone_messages(folder),
    ]


def _bundle(folder: Path) -> Campaign:
    from fieldlog.bundle.checking import check_bundle
    from fieldlog.shop.workshop import Workshop

    with Workshop.open(folder / "shop", now=ticking()) as shop:
        fill(shop.store, "blue roadster")
        whole = shop.bundle("1", out=folder)
        shop.report("1", folder / "out", ("html", "json"))

    def run(path: Path) -> None:
        content = check_bundle(path, START)
        if content.faults:
            from fieldlog.errors import StoreError

            raise StoreError(content.faults[0])

    data = whole.read_bytes()
    special = {
        **_FILES,
        "5 GB behind a bundle": _headed(data),
        "a list of members of 3 GB": _listed,
    }
    return Campaign(
        "bundle", "bundle verify, merge", "a.zip", (data,), run, special, (*_BYTES, *TEXT)
    )


def _lines(folder: Path) -> Campaign:
    """What is inside a bundle changed by somebody who packs it again, with every sum put right."""
    from fieldlog.bundle.archive import Archive
    from fieldlog.bundle.archive import write as write_archive
    from fieldlog.bundle.checking import check_bundle
    from fieldlog.bundle.make import tags
    from fieldlog.errors import StoreError

    names = (
        "rows.jsonl",
        "places.jsonl",
        "elsewhere.jsonl",
        "limits.jsonl",
        "proof.json",
        "about.json",
        "checkpoint.txt",
    )
    with Archive(next(folder.glob("inspection-*.zip"))) as archive:
        good = {name: archive.read(name, 1 << 30) for name in archive.members}

    def run(path: Path) -> None:
        name, _, data = path.read_bytes().partition(b"\n")
        payload = {n: d for n, d in good.items() if n.startswith("data/")}
        told = f"data/{name.decode('latin-1')}"
        payload[told if told in payload else "data/rows.jsonl"] = data
        with path.with_name("b.zip").open("wb") as stream:
            write_archive(stream, {**payload, **tags(payload, "")})
        content = check_bundle(path.with_name("b.zip"), START)
        if content.faults:
            raise StoreError(content.faults[0])

    seeds = tuple(name.encode() + b"\n" + good[f"data/{name}"] for name in names)
    special = {
        f"{name}: {what}": write(name.encode() + b"\n" + data)
        for name in names
        for what, data in (
            ("brackets", b"[" * 100_000 + b"\n"),
            ("nothing", b""),
            ("100,000 empty lines", b"\n" * 100_000),
        )
    }
    return Campaign("in a bundle", "bundle verify, merge", "a.txt", seeds, run, special, TEXT)


def _wav() -> Campaign:
    from fieldlog.audio.files import open_audio

    def run(path: Path) -> None:
        with open_audio(path) as sound:
            for _ in sound.blocks():
                pass

    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(bytes(range(256)) * 100)
    data = out.getvalue()
    special = {
        **_FILES,
        "a head alone": write(data[:44]),
        "a length of 4 GB": write(data[:40] + b"\xff\xff\xff\xff" + data[44:]),
        "65,535 channels": write(data[:22] + b"\xff\xff" + data[24:]),
    }
    return Campaign("WAV", "hear, inspection hear", "a.wav", (data,), run, special, _BYTES)


def _photo() -> Campaign:
    from fieldlog.photos.exif import read_photo

    def run(path: Path) -> None:
        read_photo(str(path), date(2026, 5, 4))

    data = picture(1)
    special = {
        **_FILES,
        "500 megapixels claimed": write(data.replace(b"\x00\xf0\x01\x40", b"\x7f\xff\x7f\xff", 1)),
        "nested previews": write(data[:20] + data * 20),
    }
    return Campaign(
        "photo",
        "photos import",
        "a.jpg",
        (data, data[:2] + _exif() + data[2:]),
        run,
        special,
        _BYTES,
    )


def _exif() -> bytes:
    """A small Exif block: one text and a time."""
    tiff = b"II*\x00\x08\x00\x00\x00\x01\x002\x01\x02\x00\x14\x00\x00\x00\x1a\x00\x00\x00\x00\x00\x00\x002026:05:04 10:30:07\x00"
    body = b"Exif\x00\x00" + tiff
    return b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body


def _grammar() -> Campaign:
    from fieldlog.grammar.files import load_grammar

    def run(path: Path) -> None:
        load_grammar(path)

    seed = b"#JSGF V1.0;\ngrammar a;\npublic <a> = (front | rear) <b> [/2/ worn {x}] ;\n<b> = brake+ | (chain | belt)* slack;\n"
    special = {
        **_FILES,
        "100,000 nested brackets": write(seed + b"<c> = " + b"(" * 100_000),
        "50,000 nested and closed": write(
            seed + b"<c> = " + b"[" * 50_000 + b"a" + b"]" * 50_000 + b";"
        ),
        "a rule of itself": write(b"#JSGF V1.0;\ngrammar a;\npublic <a> = <a> <a> | <a>;\n"),
        "5,000 rules in a row": write(
            b"#JSGF V1.0;\ngrammar a;\npublic <r0> = <r1>;\n"
            + b"".join(b"<r%d> = <r%d> a;\n" % (n, n + 1) for n in range(1, 5000))
            + b"<r5000> = a;\n"
        ),
        "every rule twice the one before": write(
            b"#JSGF V1.0;\ngrammar a;\npublic <r0> = <r1> <r1>;\n"
            + b"".join(b"<r%d> = <r%d> <r%d>;\n" % (n, n + 1, n + 1) for n in range(1, 60))
            + b"<r60> = a;\n"
        ),
    }
    return Campaign("grammar", "grammar check", "a.jsgf", (seed,), run, special, TEXT)


def _pack() -> Campaign:
    from fieldlog.limits.packs import read_packs

    seeds = [path.read_bytes()[:6000] for path in sorted(config.limit_packs().glob("*.toml"))[:4]]
    return Campaign(
        "pack", "--limits", "a.toml", tuple(seeds), lambda path: read_packs([path]), _TOML, TEXT
    )


def _walk() -> Campaign:
    from fieldlog.aftercare.walk_list import read_walk
    from fieldlog.catalogue.files import load_catalogue

    known = load_catalogue(config.grammars())
    text = (Path(config.__file__).parent / "aftercare" / "walk.toml").read_bytes()[:6000]

    def run(path: Path) -> None:
        read_walk(_text(path), known)

    special = {name: make for name, make in _TOML.items() if name not in _FILES}
    return Campaign("walk", "the walk's TOML", "a.toml", (text,), run, special, TEXT)


def _catalogue() -> Campaign:
    from fieldlog.catalogue.files import known_names
    from fieldlog.catalogue.read import read_catalogue

    folder = config.grammars()
    known = known_names(folder)
    seeds = tuple(p.read_bytes()[:5000] for p in sorted((folder / "catalogue").glob("*.toml"))[:3])

    def run(path: Path) -> None:
        read_catalogue({"a": _text(path)}, known)

    special = {name: make for name, make in _TOML.items() if name not in _FILES}
    return Campaign("catalogue", "the catalogue's TOML", "a.toml", seeds, run, special, TEXT)


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", "replace")


def _setting() -> Campaign:
    from fieldlog.cli.store_option import pairs
    from fieldlog.limits.context import parse_context

    def run(path: Path) -> None:
        told = _text(path).split("\n")
        pairs(told[1:])
        parse_context(told[0] or None, told[1:])

    seeds = (
        b"GB\nrim=steel\nchain=520",
        b"US-VA\ndistance=25 ft\nfirst_use=2019-03-02",
        b"DE\ntemperature=20 degC",
    )
    special = {
        "brackets": write(b"GB\nrim=" + b"[" * 100_000),
        "control sequences": write(b"\x1b[2J\nrim\x07=\x1b]0;x\x07"),
        "a fraction over nothing": write(b"GB\ntemperature=1/0 degC\ndistance=0/0 ft"),
        "100,000 digits": write(b"GB\ntemperature=" + b"9" * 100_000 + b" degC"),
        "only signs": write(b"\n=\n==\n=x\n \n"),
    }
    return Campaign("--set", "--set, --jurisdiction", "a.txt", seeds, run, special, TEXT)


def _against(folder: Path) -> Campaign:
    from fieldlog.shop.proving import witnesses

    def run(path: Path) -> None:
        witnesses(str(path))

    seeds = tuple(path.read_bytes()[-8000:] for path in sorted((folder / "out").iterdir()))
    special = {
        **_FILES,
        "100,000 names of records": write(b"fieldlog/abc\n" * 100_000),
        "a note of 100,000 lines": write(b"fieldlog/abc\n1\n" + b"a b\n" * 100_000),
    }
    return Campaign(
        "--against",
        "verify --against",
        "a.html",
        seeds,
        run,
        special,
        (*TEXT, b"fieldlog/", b"\n\n"),
    )


def _typed() -> Campaign:
    from fieldlog.language.files import load_language

    language = load_language()

    def run(path: Path) -> None:
        language.understand(_text(path)[:5000])

    seeds = (
        b"rear tread four thirty-seconds",
        b"left mirror cracked, right loose and the chain dry",
        b"correction front pads two point five millimetres",
    )
    special = {
        "brackets": write(b"rear tread " + b"[" * 5000),
        "control sequences": write(b"rear \x1b[2J tread \x07 two"),
        "5,000 digits": write(b"rear tread " + b"9" * 4900),
        "700 times and": write(b"horn dead and " * 350),
    }
    return Campaign("typed", "inspection enter, parse", "a.txt", seeds, run, special, TEXT)


def _http(folder: Path) -> Campaign:
    """Requests to the page of the review by somebody who has come in."""

    def run(path: Path) -> None:
        import time

        from starlette.testclient import TestClient

        from fieldlog.serve.app import OneHand, build
        from fieldlog.serve.guard import TOKEN
        from fieldlog.serve.keys import Keys, Trust
        from fieldlog.serve.review.face import review_face
        from fieldlog.serve.review.sights import Sights
        from fieldlog.serve.run import own_hosts
        from fieldlog.shop.workshop import Workshop

        with Workshop.open(folder / "shop", now=ticking()) as shop:
            keys, sights, hand = (
                Keys(time.monotonic),
                Sights(folder / "shop", date(2026, 5, 4)),
                OneHand(shop),
            )
            app = build([review_face(hand, sights, "1")], keys, hosts=own_hosts(8765))
            ours = {"origin": "http://127.0.0.1:8765", "sec-fetch-site": "same-origin"}
            with TestClient(
                app, base_url="http://127.0.0.1:8765", raise_server_exceptions=False
            ) as client:
                came = client.post("/enter", content=keys.code(Trust.DESK, "Sam"), headers=ours)
                ours[TOKEN] = came.json()["token"]
                for told in path.read_bytes().split(NEXT)[:20]:
                    line, _, body = told.partition(b"\n")
                    method, _, address = line.decode("latin-1").partition(" ")
                    asked(client, method, address, body, ours)
            hand.close()
            sights.close()

    name = next((folder / "shop" / "media").glob("*/*.flac")).name
    seeds = (
        b"GET /review/sheet?inspection=1\n"
        + NEXT
        + b"GET /review/item?inspection=1&key=1\n"
        + NEXT
        + b"GET /review/search?words=chain\n",
        b'POST /review/decide\n{"inspection": "1", "verb": "take", "item": "x", "seen": "9", "text": "horn dead"}'
        + NEXT
        + b'POST /review/undo\n{"inspection": "1", "verb": "accept", "item": "x", "seen": "3"}',
        b'POST /review/move\n{"inspection": "1", "photo": "x", "finding": 1, "seen": 9}'
        + NEXT
        + b"GET /media/clip/"
        + name.encode()
        + b"\n"
        + NEXT
        + b"GET /review/vehicle?inspection=1\n",
        b'POST /review/sign\n{"inspection": "1", "seen": 9, "name": "Sam", "how": "new", "pin": "4711", "again": "4711", "confirmed": ["open"]}'
        + NEXT
        + b"GET /review/signing?inspection=1\n"
        + NEXT
        + b'POST /review/rehear\n{"inspection": "1", "item": "x", "listener": "none", "model": "", "grammar": ""}'
        + NEXT
        + b"GET /review/checkpoint?of=x\n",
    )
    special: dict[str, Make] = {
        "a body of brackets": write(b"POST /review/decide\n" + b"[" * 15_000),
        "a body of objects": write(b"POST /review/decide\n" + b'{"a":' * 3_000),
        "a body too large": write(b"POST /review/decide\n" + b"a" * 100_000),
        "a way out of the folder": write(
            b"GET /media/clip/..%2f..%2ffieldlog.db\n" + NEXT + b"GET /page/review/../../app.py\n"
        ),
        "control sequences": write(
            b'POST /review/decide\n{"inspection": "\\u001b[2J", "words": "\\u0000"}'
        ),
        "a number of 10,000 digits": write(
            b'POST /review/decide\n{"seen": ' + b"9" * 10_000 + b"}"
        ),
    }
    return Campaign(
        "HTTP",
        "review (10 requests a case)",
        "a.txt",
        seeds,
        run,
        special,
        (*TEXT, NEXT),
        share=10,
    )


NEXT = b"\n====\n"


def asked(client: Any, method: str, address: str, body: bytes, headers: Mapping[str, str]) -> None:
    """One request; an answer above 499 (an exception of the server) is a fault."""
    import httpx2

    if not method.isalpha() or not address.startswith("/"):
        return
    try:
        answer = client.request(method, address, content=body, headers=headers)
    except (ValueError, httpx2.InvalidURL, httpx2.TransportError):
        return  # no such request can be sent; what the server raises is an answer of 500 here
    if answer.status_code > 499:
        raise AssertionError(f"{answer.status_code} for {method} {address[:80]}")
