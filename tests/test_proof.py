"""Merkle trees against the published vectors, notes to the letter, signatures that OpenSSH checks."""

from __future__ import annotations

import random
import shutil
import stat
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from fieldlog.errors import UsageError
from fieldlog.proof import merkle, note, sshsig
from fieldlog.proof.keys import Keyring
from fieldlog.proof.note import Checkpoint

# The test data of Certificate Transparency's reference log for RFC 6962, whose trees RFC 9162 keeps:
# eight leaves, the root of the first 1 to 8 of them, PATH(leaf, first n) and PROOF(m, first n).
_INPUTS = ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "60616263646566676869")
INPUTS = [bytes.fromhex(text) for text in (*_INPUTS[:7], _INPUTS[7] + "6a6b6c6d6e6f")]
ROOTS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)


def _leaves(count: int) -> list[bytes]:
    return [merkle.leaf(data) for data in INPUTS[:count]]


def test_roots_are_the_published_ones() -> None:
    assert merkle.root([]) == merkle.EMPTY
    assert [merkle.root(_leaves(n)).hex() for n in range(1, 9)] == list(ROOTS)


def test_every_proof_holds_and_no_other_does() -> None:
    """All trees up to 24 leaves; a proof with a hash changed, dropped or put in proves nothing."""
    chance = random.Random(4)
    for size in range(1, 25):
        leaves = [merkle.leaf(bytes([n])) for n in range(size)]
        top = merkle.root(leaves)
        for count in range(1, size + 1):
            chosen = chance.sample(range(size), count)
            known = {index: leaves[index] for index in chosen}
            besides = merkle.covering(leaves, chosen)
            assert merkle.root_of_covering(size, known, besides) == top
            for other in _spoilt(besides):
                assert merkle.root_of_covering(size, known, other) != top
            changed = {**known, chosen[0]: bytes(32)}
            assert merkle.root_of_covering(size, changed, besides) != top


def _spoilt(path: tuple[bytes, ...]) -> list[tuple[bytes, ...]]:
    return [(*path, bytes(32)), *([(bytes(32), *path[1:]), path[1:]] if path else [])]


# -- notes ----------------------------------------------------------------------------------------

PLAIN = Checkpoint(
    "fieldlog/01abc", 8, bytes.fromhex(ROOTS[7]), (("at", "2026-05-04T09:12:00.000000Z"),)
)


@pytest.fixture(scope="module")
def ring(tmp_path_factory: pytest.TempPathFactory) -> Keyring:
    ring = Keyring(tmp_path_factory.mktemp("shop") / "keys")
    ring.make("A. Smith", "2468")
    return ring


@pytest.fixture(scope="module")
def signed(ring: Keyring) -> Checkpoint:
    return ring.open("A. Smith", "2468").sign(PLAIN)


def test_a_note_reads_back_to_the_letter(signed: Checkpoint) -> None:
    for each in (PLAIN, signed):
        assert note.parse(each.text) == each
        for spoilt in (
            each.text.replace("8", "08", 1),
            each.text.replace("\n", "\r\n"),
            each.text[:-1],
            f"{each.text}\n",
            each.text.replace("fieldlog/", "other/", 1),
            f" {each.text}",
        ):
            assert note.parse(spoilt) is None, spoilt


def test_a_signature_holds_for_what_was_signed_alone(signed: Checkpoint) -> None:
    assert signed.is_signed
    assert not PLAIN.is_signed
    assert signed.one("by") == "A. Smith"
    for other in (
        replace(signed, size=9),
        replace(signed, root=bytes(32)),
        replace(signed, origin="fieldlog/2"),
        replace(signed, lines=signed.lines[:1] + signed.lines[2:]),
        replace(signed, signature=bytes(64)),
    ):
        assert not other.is_signed


def test_notes_are_found_wherever_they_were_put(signed: Checkpoint) -> None:
    import html
    import json

    for text in (
        signed.text,
        f"<pre>{html.escape(signed.text)}</pre>",
        json.dumps({"checkpoint": signed.text}),
        json.dumps({"checkpoint": signed.text}, ensure_ascii=False),
    ):
        assert note.found_in(f"before\n{text}\nafter") == (signed,), text
    assert note.found_in("nothing of the kind") == ()


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="OpenSSH's ssh-keygen is not here")
def test_openssh_checks_a_signature_without_us(tmp_path: Path, signed: Checkpoint) -> None:
    name = note.key_name(signed.key)
    (tmp_path / "who").write_text(sshsig.allowed_signer(name, signed.key))
    (tmp_path / "sig").write_text(sshsig.armoured(signed.key, signed.signature))
    command = ["ssh-keygen", "-Y", "verify", "-f", str(tmp_path / "who"), "-I", name]
    command += ["-n", sshsig.NAMESPACE, "-s", str(tmp_path / "sig")]
    good = subprocess.run(command, input=signed.body.encode(), capture_output=True, check=False)
    assert good.returncode == 0, good.stderr
    assert sshsig.fingerprint(signed.key) in good.stdout.decode()
    other = replace(signed, size=9).body.encode()
    bad = subprocess.run(command, input=other, capture_output=True, check=False)
    assert bad.returncode != 0


# -- keys -----------------------------------------------------------------------------------------


def test_a_key_is_its_owners_and_opens_with_the_pin_alone(ring: Keyring) -> None:
    (key,) = ring.people()
    assert key.name == "A. Smith"
    assert stat.S_IMODE(key.file.stat().st_mode) == 0o600
    assert b"OPENSSH PRIVATE KEY" in key.file.read_bytes()
    with pytest.raises(UsageError, match="does not open"):
        ring.open("A. Smith", "1111")
    with pytest.raises(UsageError, match="has no key here"):
        ring.open("B. Jones", "2468")
    with pytest.raises(UsageError, match="at least 4"):
        ring.make("B. Jones", "12")
    with pytest.raises(UsageError, match="has a key already"):
        ring.make("A. Smith", "2468")


def test_a_lost_key_is_replaced_and_kept(tmp_path: Path) -> None:
    ring = Keyring(tmp_path / "keys")
    old = ring.make("A. Smith", "2468")
    signed = ring.open("A. Smith", "2468").sign(PLAIN)
    new = ring.make("A. Smith", "9753", lost=True)
    assert new.fingerprint != old.fingerprint
    assert [each.fingerprint for each in ring.people()] == [new.fingerprint]
    assert signed.is_signed
    assert (tmp_path / "keys" / f"{old.file.name}.lost").exists()


def test_the_record_has_a_key_of_its_own(tmp_path: Path) -> None:
    ring = Keyring(tmp_path / "keys")
    first, again = ring.of_record(), ring.of_record()
    assert first is not None
    assert again is not None
    assert first.public == again.public
    assert first.sign(PLAIN).is_signed
    assert ring.people() == ()


def test_a_lost_key_whose_public_half_is_lost_too_gets_a_new_one(tmp_path: Path) -> None:
    ring = Keyring(tmp_path)
    old = ring.make("A. Smith", "2468")
    old.file.with_name(f"{old.file.name}.pub").unlink()
    new = ring.make("A. Smith", "1357", lost=True)
    assert ring.open("A. Smith", "1357").fingerprint == new.fingerprint
    assert old.file.with_name(f"{old.file.name}.lost").is_file()
