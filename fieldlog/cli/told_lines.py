"""What happened, as lines in the language that is spoken; what it has no words for in the reference's."""

from __future__ import annotations

from collections.abc import Iterable

from rich.text import Text

from fieldlog.cli.event_lines import event_text
from fieldlog.language.other import OtherLanguage
from fieldlog.model.finding import Finding
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept


def told_lines(events: Iterable[Event], language: OtherLanguage) -> Iterable[Text]:
    """A line, or several, for each event that a person must see."""
    for event in events:
        for line in _lines(event, language):
            if line:
                yield line


def _lines(event: Event, language: OtherLanguage) -> Iterable[Text]:
    told = language.told
    match event:
        case ev.FindingSaved(said, _, assessment):
            yield from map(Text, told.understood(said.understanding, assessment.verdict))
        case ev.FindingCorrected(said, _, assessment, was):
            first, *behind = told.understood(said.understanding, assessment.verdict)
            yield Text(f"{first}  {told.lines['corrects'].format(was=_told(was, language))}")
            yield from map(Text, behind)
        case ev.FindingWithdrawn(_, was, _, _):
            yield Text(told.lines["withdrawn"].format(was=_told(was, language)))
        case ev.Asked(said) | ev.Refused(said):
            yield from map(Text, told.understood(said.understanding, None))
        case ev.AskedAgain(_, asked):
            yield Text(told.lines["asked"].format(question=told.question(asked)))
        case ev.RemarkKept(_, text, _):
            yield Text(told.lines["remark"].format(text=text))
        case ev.ReadBack(_, kept, before):
            for each in (*before, kept):
                if each is not None:
                    yield Text(f"{_told(each, language)}  {told.verdict(each.verdict)}".rstrip())
        case _:
            yield event_text(event)


def _told(one: Kept | Finding, language: OtherLanguage) -> str:
    return language.told.finding(one.finding if isinstance(one, Kept) else one)
