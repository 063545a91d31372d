"""``--limits``: the user's own limit packs, for every command that gives verdicts in a named context."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from fieldlog.model.limit import Limit


class PackPath(click.ParamType[Path]):
    """A file or folder with packs, or the name of packs that another package adds."""

    name = "path"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Where the packs lie; a file that exists comes before a name."""
        from fieldlog.added.entries import Adds, added, folder_of, named

        path = Path(value)
        if path.exists():
            return path
        if any(each.name == str(value) for each in added(Adds.LIMITS)):
            return folder_of(named(Adds.LIMITS, str(value)))
        raise click.BadParameter(
            f"there is no file, folder or added pack {str(value)!r}", ctx, param
        )


own_limits_option = click.option(
    "--limits",
    "own",
    multiple=True,
    type=PackPath(),
    help="A limit pack of your own (file, folder or added name); an id of ours in it replaces ours.",
)


def limits_with(own: tuple[Path, ...]) -> tuple[Limit, ...] | None:
    """The rows to check against: ours with those of the packs ``own``; None (ours) without any.

    Raises ``LimitError`` with all faults of the packs.
    """
    from fieldlog.cli.limits import own_packs
    from fieldlog.limits.packs import shipped_limits, with_own

    return with_own(shipped_limits(), own_packs(own)) if own else None
