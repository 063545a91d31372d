"""The page that lists every limit with its source, generated from the packs (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fieldlog.limits.context import SETTINGS
from fieldlog.limits.items import Held, RulePart, coverage
from fieldlog.limits.packs import Pack
from fieldlog.model.limit import Limit, Relation
from fieldlog.words import tell

_HEAD = """# Limits

Generated from `fieldlog/limits/packs/*.toml` by `fieldlog limits docs --out docs/limits.md`; do not
edit by hand. How to add a limit or a pack: [limits-how.md](limits-how.md).

Status: *cited* rows name a section that was read (in the source's own text, or in a secondary copy
that quotes it); *common practice* alone and a *superseded* edition give at most *faulty*, save rows
marked *outright*: outside those nothing is left, and that is *beyond* everywhere; *from memory* is shown
and never gates; *entered by user* comes from the vehicle's own file or from settings. Severity stands in
the classes of directive 2014/45/EU: *printed* by the source, *inferred* from a text that takes the same
table over with its classes printed, else *our own*: the rules of the American states, New Zealand and most
of Quebec print none, there every item is a rejection and nothing more. Values stand as printed. *only "..."*
is a rule's own qualifier: until somebody says whether it holds, the verdict is *undecided* and asks.
"[...]" is where the copy that was read broke off.
"""


def limits_page(packs: Sequence[Pack]) -> str:
    """The Markdown page: a table per pack, then the settings that choose between rows."""
    parts = [_HEAD]
    for pack in packs:
        parts.append(f"\n## {pack.title}\n")
        about = [f"Pack `{pack.id}`, layer: {pack.layer}."]
        if pack.jurisdiction:
            about.append(f"Jurisdiction: {pack.jurisdiction}.")
        if pack.note:
            about.append(pack.note)
        scopes = dict.fromkeys(limit.scope for limit in pack.limits if limit.scope)
        parts.append("\n".join([*about, *scopes]) + "\n")
        parts += _table(pack.limits)
        parts += _items(pack.parts)
    parts.append("\n## Settings (`--set key=value`)\n")
    parts.append("| key | holds | for |\n|---|---|---|\n")
    for setting in SETTINGS.values():
        holds = ", ".join(setting.choices) if setting.choices else setting.kind
        taken = f" (not set: {setting.assumed})" if setting.assumed else ""
        parts.append(f"| `{setting.key}` | {holds} | {setting.about}{taken} |\n")
    return "".join(parts)


def where(limit: Limit) -> str:
    """Where the row applies: ``US-VA; vehicle_class motorcycle|moped``."""
    parts = [
        wanted if key == "jurisdiction" else f"{key} {wanted}"
        for key, wanted in sorted(limit.applies.items())
    ]
    return "; ".join(parts) or "anywhere"


def source(limit: Limit) -> str:
    """Source, section, edition and the date it was read."""
    parts = [limit.source, limit.section, limit.edition]
    if limit.read_on:
        how = {"text": "text read", "secondary": "secondary copy read"}.get(limit.seen, "written")
        parts.append(f"{how} {limit.read_on}" + (f" (cut {limit.cut})" if limit.cut else ""))
    if limit.where:
        parts.append(limit.where)
    return "; ".join(part for part in parts if part)


def _marks(limit: Limit) -> Iterable[str]:
    """How it is held otherwise than a plain row."""
    if limit.outright:
        yield "outright"
    if limit.silent:
        yield "says nothing inside"
    if limit.exact:
        yield "without guard band"
    if limit.superseded:
        yield "superseded"
    if limit.asks and limit.relation is not Relation.IS:
        yield f'only "{limit.asks}"'


def sentence(text: str, cut: str) -> str:
    """The sentence that was read, with a mark where the copy broke off."""
    return f'"{text}{" [...]" if cut else ""}"' if text else ""


def _items(parts: Sequence[RulePart]) -> Iterable[str]:
    if not parts:
        return
    yield f"\nHeld of the rule: {coverage(parts)}.\n\n"
    for part in parts:
        title = f"{part.id}, {part.title}" if part.title else part.id
        held = f"{coverage((part,))}" if part.items else "not read"
        yield f"- **{title}**: {held}" + (f" ({part.rest})" if part.rest else "") + "\n"
        for item in part.items:
            if item.held is not Held.ROW:
                read = f" {sentence(item.text, item.cut)}" if item.text else ""
                yield f"  - {item.id}{read}: {item.held.value}: {item.why}\n"


def _table(limits: Iterable[Limit]) -> Iterable[str]:
    yield "\n| id | component | characteristic | limit | applies | status | severity | read | source |\n"
    yield "|---|---|---|---|---|---|---|---|---|\n"
    for limit in limits:
        cells = (
            f"`{limit.id}`",
            limit.component,
            limit.characteristic,
            tell.limit_in_full(limit) + "".join(f", {mark}" for mark in _marks(limit)),
            where(limit),
            limit.status.value,
            tell.severity_from(limit),
            sentence(limit.text, limit.cut),
            source(limit),
        )
        yield "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"
