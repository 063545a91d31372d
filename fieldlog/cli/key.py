"""``fieldlog key``: keys that people sign with."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fieldlog.cli.store_option import opened, store_option
from fieldlog.errors import UsageError

if TYPE_CHECKING:
    from fieldlog.proof.keys import Keyring, Signer

_Command = TypeVar("_Command", bound=Callable[..., Any])
_LONGEST_PIN = 1000


def pin_option(command: _Command) -> _Command:
    """Add ``--pin-file FILE`` to a command (parameter ``pin_file``)."""
    return click.option(
        "--pin-file",
        type=click.File("r"),
        default=None,
        help="Read the PIN from the first line of a file, `-` for standard input, instead of asking.",
    )(command)


@click.group()
def key() -> None:
    """Keys that people sign with: one of each person, opened with a PIN.

    \b
    Example:
      fieldlog key make "A. Smith"
    """


@key.command()
@click.argument("name")
@click.option("--lost", is_flag=True, help="Make a new one in place of a lost one, which is kept.")
@pin_option
@store_option
def make(name: str, lost: bool, pin_file: Any, folder: Path | None) -> None:
    """Make a key for the person NAME, kept beside the record and encrypted with a PIN.

    It is an OpenSSH key (Ed25519). Nobody can open it without the PIN, and nobody can bring a forgotten
    one back: then --lost makes a new key, and what the old one signed stays signed.

    \b
    Examples:
      fieldlog key make "A. Smith"
      fieldlog key make "A. Smith" --lost
    """
    from fieldlog.shop.witness import keyring

    with opened(folder, new=True) as store:
        ring = keyring(store)
    pin = _pin(pin_file, "PIN for the new key", twice=True)
    made = ring.make(name, pin, lost=lost)
    click.echo(f"{made.name}: {made.fingerprint}")
    click.echo(f"public key, for whoever is to check a signature: {made.line}")


@key.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per key and line.")
@store_option
def list_(as_json: bool, folder: Path | None) -> None:
    """List the keys of people with their fingerprints.

    \b
    Example:
      fieldlog key list
    """
    from fieldlog.shop.witness import keyring

    with opened(folder, reading=True) as store:
        people = keyring(store).people()
    for each in people:
        if as_json:
            found = {"name": each.name, "fingerprint": each.fingerprint, "public": each.line}
            click.echo(json.dumps(found))
        else:
            click.echo(f"{each.name}: {each.fingerprint}")


def signer_for(ring: Keyring, name: str, pin_file: Any, without_key: bool) -> Signer | None:
    """The key of ``name``, opened; None where the person has none here, or signs without."""
    if without_key or ring.known(name) is None:
        return None
    return ring.open(name, _pin(pin_file, f"PIN of {name}"))


def _pin(file: Any, asking: str, *, twice: bool = False) -> str:
    if file is not None:
        return str(file.readline(_LONGEST_PIN)).rstrip("\r\n")
    if not sys.stdin.isatty():
        raise UsageError(
            "nobody can be asked for the PIN here",
            todo="give it with --pin-file FILE (`-`: standard input), or sign with --without-key",
        )
    return str(click.prompt(asking, hide_input=True, confirmation_prompt=twice, err=True))
