"""``listen --phone`` and ``fieldlog phone`` as somebody at the machine meets them."""

from __future__ import annotations

import json
import os
import queue
import re
import signal
import ssl
import subprocess
import sys
import threading
from pathlib import Path

import httpx2
import pytest
from click.testing import CliRunner

from fieldlog.cli import main
from fieldlog.config import keys_folder
from fieldlog.serve.phone.book import PhoneBook


def run(*arguments: str) -> tuple[int, str]:
    found = CliRunner().invoke(main, list(arguments))
    return found.exit_code, found.output


def test_a_phone_is_let_in_by_a_yes_and_the_session_ends_well(tmp_path: Path) -> None:
    record = tmp_path / "record"
    process = subprocess.Popen(
        [sys.executable, "-m", "fieldlog", "listen", "--phone", "--port", "0", "--say", "nothing",
         "--store", str(record)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={**os.environ, "COLUMNS": "400"},
    )  # fmt: skip
    told: queue.Queue[str] = queue.Queue()
    assert process.stdout is not None
    assert process.stdin is not None

    def read() -> None:
        assert process.stdout is not None
        for line in process.stdout:
            told.put(line)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()

    def said(pattern: str) -> re.Match[str]:
        while True:
            line = told.get(timeout=60)
            found = re.search(pattern, line)
            if found:
                return found

    try:
        address = said(r"open there: (https://\S+/phone/)#(\S+)")
        said("listening on phone")
        trust = ssl.create_default_context(cafile=str(keys_folder(record) / "authority.crt"))
        base = address[1].removesuffix("/phone/")
        with httpx2.Client(verify=trust, base_url=base, headers={"origin": base}) as client:
            body = json.dumps({"code": address[2], "name": "my\x1b[31m phone"})
            asked = client.post("/phone/knock", content=body).json()
            assert said(r"It shows (\d{4})")[1] == asked["digits"]
            ticket = json.dumps({"ticket": asked["ticket"]})
            assert client.post("/phone/enter", content=ticket).status_code == 202
            process.stdin.write("y\n")
            process.stdin.flush()
            said("let in")
            assert client.post("/phone/enter", content=ticket).status_code == 200
            assert client.get("/session").status_code == 200
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0
    finally:
        process.kill()
        process.wait()
        reader.join()
        process.stdin.close()
        process.stdout.close()
    code, text = run("phone", "list", "--store", str(record))
    assert code == 0
    assert "my [31m phone" in text
    assert "may come in" in text
    assert run("phone", "revoke", "1", "--store", str(record))[0] == 0
    assert "revoked" in run("phone", "list", "--store", str(record))[1]
    assert run("phone", "revoke", "2", "--store", str(record))[0] == 2


def test_all_is_forgotten_only_when_that_is_confirmed(tmp_path: Path) -> None:
    record = tmp_path / "record"
    PhoneBook(keys_folder(record)).add("a phone")
    assert run("phone", "forget", "--store", str(record))[0] == 1
    assert "a phone" in run("phone", "list", "--store", str(record))[1]
    assert run("phone", "forget", "--yes", "--store", str(record))[0] == 0
    assert "No phone" in run("phone", "list", "--store", str(record))[1]


@pytest.mark.parametrize(
    "arguments",
    [
        ("--phone", "--source", "x.wav"),
        ("--phone", "--device", "headset"),
        ("--network", "8.8.8.8"),
        ("--network", "not-an-address"),
    ],
)
def test_what_cannot_be_meant_is_told_before_anything_is_made(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    record = tmp_path / "record"
    code, _ = run("listen", *arguments, "--store", str(record))
    assert code == 2
    assert not record.exists()
