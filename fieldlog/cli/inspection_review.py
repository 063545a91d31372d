"""``fieldlog inspection questions | rehear``: going through what was heard, on the terminal."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.ears import listener_options
from fieldlog.cli.store_option import store_option, workshop
from fieldlog.errors import AudioError, FieldlogError, UnsureError, UsageError
from fieldlog.words.review import NOTHING_LEFT

if TYPE_CHECKING:
    from fieldlog.review.again import HeardAgain
    from fieldlog.review.deciding import Offered, Weighed
    from fieldlog.review.view import Sheet
    from fieldlog.shop.reviewing import Reviewing
    from fieldlog.shop.sheets import Sheets
    from fieldlog.shop.workshop import Workshop

_key = click.argument("key", metavar="[INSPECTION]", default="last")
_name = click.option("--as", "name", metavar="NAME", help="Who decides.  [default: the inspector]")
HELP = "Enter as it stands · 1-9 that reading · r hear · x not said · u undo · n next · q leave · or type what was said"


@click.command()
@_key
@_name
@click.option("--json", "as_json", is_flag=True, help="Print the list as one JSON object.")
@store_option
def questions(key: str, name: str | None, as_json: bool, folder: Path | None) -> None:
    """Go through what needs a decision in an INSPECTION: play, answer, next.

    The same list as on the page of `fieldlog review`. Where nobody can answer (no terminal) it is shown.

    \b
    Examples:
      fieldlog inspection questions
      fieldlog inspection questions 3 --json
    """
    from fieldlog.shop.sheets import Sheets

    with workshop(folder) as shop:
        head = shop.store.inspection(key)
        who = head.inspector if name is None else name
        sheets = Sheets(shop)

        def now() -> Sheet:
            return sheets.sheet(head.id, who)

        if as_json:
            shown = now().shown()
            click.echo(json.dumps(shown, ensure_ascii=False, indent=1))
            return
        if not (sys.stdin.isatty() and sys.stdout.isatty()):
            for one in now().queue:
                _shown(sheets, now(), one)
            if not now().queue:
                click.echo(NOTHING_LEFT)
            click.echo(now().shown()["statement"])
            return
        _gone_through(shop, sheets, now, sheets.reviewing(head.id, who))


def _gone_through(
    shop: Workshop, sheets: Sheets, now: Callable[[], Sheet], reviewing: Reviewing
) -> None:
    from fieldlog.review.view import name_of

    passed: set[str] = set()
    click.echo(HELP)
    with _loudspeaker(shop) as play:
        while True:
            sheet = now()
            one = next((e for e in sheet.queue if name_of(e) not in passed), None)
            if one is None:
                if not sheet.queue:
                    click.echo(NOTHING_LEFT)
                break
            offered = _shown(sheets, sheet, one)
            play(one)
            while True:
                answer = click.prompt("", default="", show_default=False, prompt_suffix="> ")
                if answer == "q":
                    return
                if answer == "r":
                    play(one)
                    continue
                try:
                    if answer == "u":
                        passed.discard(_taken_back(reviewing))
                    elif answer == "n" or _decided(reviewing, one, offered, answer):
                        passed.add(name_of(one))
                    break
                except UsageError as error:
                    click.echo(f"  not saved: {error.what}")
    click.echo(now().shown()["statement"])


def _taken_back(reviewing: Reviewing) -> str:
    """Take the last decision back; the id of what it was about."""
    mine = [each for each in reviewing.record.decisions if each.reviewer == reviewing.reviewer]
    reviewing.undo()
    click.echo("  taken back")
    return mine[-1].utterance_id or mine[-1].photo_id or mine[-1].was or ""


def _decided(reviewing: Reviewing, one: Weighed, offered: tuple[Offered, ...], answer: str) -> bool:
    """Do what was answered; whether it is decided then."""
    from fieldlog.review.view import is_blind

    if one.photo is not None:
        seen = one.photo.attachment.id if one.photo.attachment else None
        number = int(answer) if answer.isascii() and answer.isdigit() else None
        if answer and number is None:
            raise UsageError("say the number of a finding, or Enter where it belongs to none")
        reviewing.move(one.photo.id, number, seen)
        return True
    exchange = one.exchange
    assert exchange is not None
    item, seen_state, blind = exchange.id, exchange.state, is_blind(one)
    if not answer:
        if blind:
            raise UsageError("say what you hear: a number, x, or the words")
        reviewing.accept(item, seen_state)
    elif answer == "x":
        reviewing.nothing(item, seen_state, sampled=blind)
    elif answer.isascii() and answer.isdigit():
        if not 0 < int(answer) <= len(offered):
            raise UsageError("there is no such reading")
        mark = offered[int(answer) - 1].mark
        _surely(partial(reviewing.choose, item, seen_state, mark, sampled=blind))
    else:
        _surely(partial(reviewing.take, item, seen_state, [answer], sampled=blind))
    click.echo("  saved")
    return True


def _surely(verb: Callable[..., object]) -> None:
    """Do it; what would be asked about is asked."""
    try:
        verb()
    except UnsureError as error:
        if not click.confirm(f"  {error.what}: take it as it is?", default=False):
            raise UsageError("left as it stands") from None
        verb(sure=True)


def _shown(sheets: Sheets, sheet: Sheet, one: Weighed) -> tuple[Offered, ...]:
    """One thing on the terminal; the readings in the order in which they are numbered."""
    from fieldlog.review.view import is_blind
    from fieldlog.words import tell

    line = sheet.line(one)
    click.echo(f"\n{line['when']} {line['need']}".rstrip())
    if one.photo is not None:
        click.echo(f"  photo {one.photo.file}")
        return ()
    assert one.exchange is not None
    blind = is_blind(one)
    if not blind:
        for said in one.exchange.said:
            click.echo(
                f"  {said.text or '(not understood)'}{f'  {said.question}' if said.question else ''}"
            )
        for kept in one.exchange.standing:
            click.echo(f"  stands: {tell.finding(kept.finding)}, {tell.state(kept.verdict)}")
    offered = sheets.offers(sheet, one)
    offered = tuple(sorted(offered, key=lambda each: each.mark)) if blind else offered
    for number, each in enumerate(offered, start=1):
        told = "; ".join(tell.finding(found) for found in each.findings) or str(each.command)
        click.echo(f"  {number}  {told}")
    return offered


@contextmanager
def _loudspeaker(shop: Workshop) -> Iterator[Callable[[Weighed], None]]:
    """Plays what was said; where no sound can be played that is told once."""
    from fieldlog.audio.loudspeaker import Loudspeaker
    from fieldlog.shop.rehearing import clip_of

    with ExitStack() as opened:
        try:
            speaker = opened.enter_context(Loudspeaker())
        except AudioError as error:
            click.echo(f"fieldlog: {error.what}", err=True)
            yield lambda _: None
            return

        def play(one: Weighed) -> None:
            for said in one.exchange.heard if one.exchange else ():
                try:
                    speaker.play(clip_of(shop.store.media, said.clip or "").samples)
                except FieldlogError as error:
                    click.echo(f"  {error.what}")

        yield play


@click.command()
@_key
@click.option("--utterance", type=int, metavar="N", help="Only that one.")
@click.option(
    "--accept", type=int, multiple=True, metavar="N", help="Take what is heard now; repeatable."
)
@_name
@listener_options
@click.option(
    "--grammar",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    metavar="DIR",
    help="Hear for the language of that folder, made like `grammars`.  [default: today's]",
)
@click.option(
    "--json", "as_json", is_flag=True, help="One JSON object for each difference and line."
)
@store_option
def rehear(
    key: str,
    utterance: int | None,
    accept: tuple[int, ...],
    name: str | None,
    listener: str,
    model: Path | None,
    grammar: Path | None,
    as_json: bool,
    folder: Path | None,
) -> None:
    """Hear an INSPECTION once more, by another listener, model or grammar, or today's.

    What differs from the record is listed, and nothing in it changes until it is accepted by its number.

    \b
    Examples:
      fieldlog inspection rehear
      fieldlog inspection rehear 3 --listener pocketsphinx --utterance 7
      fieldlog inspection rehear 3 --grammar ~/my-grammars
      fieldlog inspection rehear 3 --accept 7
    """
    from fieldlog.cli.ears import open_ears
    from fieldlog.review.again import Differs
    from fieldlog.shop.rehearing import heard_again, language_of

    with workshop(folder) as shop, open_ears(language_of(grammar), listener, model) as ears:
        record = shop.store.inspection_record(key)
        who = record.inspection.inspector if name is None else name
        unknown = {*accept, utterance} - {None, *range(1, len(record.utterances) + 1)}
        if unknown:
            raise UsageError(
                f"there is no utterance {min(filter(None, unknown))}",
                todo="see `fieldlog inspection rehear`, which names each",
            )
        wanted = accept or (utterance,)
        heard = differing = 0
        for number in wanted:
            for one in heard_again(record, shop.store.media, ears, number):
                heard += 1
                if one.differs is Differs.NOT:
                    continue
                differing += 1
                click.echo(_json_line(one) if as_json else _line(one))
                if one.number in accept:
                    reviewing = shop.reviewing(record.inspection.id, who)
                    reviewing.take(one.exchange.id, one.exchange.state, [one.now.text])
                    click.echo(f"  taken: {one.now.text}")
        if not as_json:
            same = f"everything is heard as it stands ({heard})"
            none = "nothing is heard: no sound is kept of it, or it answered something"
            click.echo(
                f"{differing} of {heard} heard otherwise" if differing else same if heard else none
            )


def _line(one: HeardAgain) -> str:
    from fieldlog.words import tell

    stands = "; ".join(tell.finding(each.finding) for each in one.exchange.standing) or "nothing"
    now = "; ".join(tell.finding(each) for each in one.now.offered) or one.now.text or "nothing"
    return f"utterance {one.number}, {one.differs}: stands {stands}; heard now {now}"


def _json_line(one: HeardAgain) -> str:
    from fieldlog.words import tell

    told = {
        "utterance": one.number,
        "differs": str(one.differs),
        "was": one.was,
        "stands": [tell.finding(each.finding) for each in one.exchange.standing],
        "now": one.now.text,
        "heard": [tell.finding(each) for each in one.now.offered],
        "decision": str(one.now.decision),
    }
    return json.dumps(told, ensure_ascii=False)


COMMANDS = (questions, rehear)
