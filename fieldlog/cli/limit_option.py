"""``--limits``: the user's own limit packs, for every command that gives verdicts in a named context."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from fieldlog.model import Limit

own_limits_option = click.option(
    "--limits",
    "own",
    multiple=True,
    type=click.Path(exists=True, path_type=Path),
    help="A limit pack of your own (file or folder); an id of ours in it replaces ours.",
)


def limits_with(own: tuple[Path, ...]) -> tuple[Limit, ...] | None:
    """The rows to check against: ours with those of the packs ``own``; None (ours) without any.

    Raises ``LimitError`` with all faults of the packs.
    """
    from fieldlog.cli.limits import own_packs
    from fieldlog.limits.packs import shipped_limits, with_own

    return with_own(shipped_limits(), own_packs(own)) if own else None
