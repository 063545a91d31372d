"""Accept, ask or refuse: what the evidence behind a hearing allows (pure).

The parser has the first word: what it does not accept is never made better here. What it accepts
is weighed by how far the grammar bent what was heard, by the margin to the next different meaning,
by flags of the sound, and by twins ("fifteen" and "fifty") that no score tells apart. How much
each counts depends on what was said (``rules``): a wrong number fits the sound nearly as well as the right
one and only the margin betrays it, a wrong condition shows in the bend.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from fieldlog.audio.clip import Clip
from fieldlog.catalogue.component import SOUND
from fieldlog.doubt.breath import as_a_breath, why_doubtful
from fieldlog.doubt.question import distinct, telling_more, what_to_ask
from fieldlog.doubt.rules import DoubtRules, Policy, Weights, silent_behind, terms
from fieldlog.doubt.twins import (
    SIDES,
    TWINS,
    exchanged,
    lacks_words,
    merely,
    slipped,
)
from fieldlog.grammar.language import Language, OpenQuestion
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding

Judge = Callable[[Understanding, Hearing, Clip], Understanding]

_STRICTEST = ("measured", "coded", "judged")

CLOSE = 0.5
"""Nats: another meaning this near is as good as a coin tossed, whatever the chance says."""


def kind_of(understanding: Understanding) -> str:
    """Which of ``KINDS`` an understanding is."""
    if understanding.kind is Kind.ORDER:
        return "order"
    if understanding.parts:  # the least certain of what it holds
        return min((kind_of(part) for part in understanding.parts), key=_STRICTEST.index)
    finding = understanding.finding
    if finding is None:
        return "dialogue"
    if finding.quantity is not None or finding.readings:
        return "measured"
    return "coded" if finding.code else "judged"


HALF_HEARD = 0.5
"""Chance of words, their bent end left out, from which a question is asked about what is more than they are."""


def but_for_its_end(hearing: Hearing) -> dict[str, float]:
    """The evidence of the best hypothesis without its last token and end, which what follows has bent."""
    evidence = terms(hearing)
    tokens = max(1.0, hearing.hypotheses[0].evidence.get("tokens", 1.0))
    bent = evidence["tail"] / tokens
    return {
        **evidence,
        "tail": 0.0,
        "bend": min(0.0, evidence["bend"] - bent),
        "logprob": min(0.0, evidence["logprob"] - bent),
    }


def twin_distances(hearing: Hearing, language: Language) -> dict[str, float]:
    """Plausible twins of the best hypothesis -> nats behind it; 0 for a slip and for what is always asked about.

    A twin that is no hypothesis was further behind than those that are: it is no reason to ask. A language
    may name twins of its own (``twins``); what our own always asks about is not held to them.
    """
    if not hearing.hypotheses:
        return {}
    best = hearing.hypotheses[0]
    own = language.meaning(best.text)
    found = {
        text: 0.0
        for text in slipped(best.text)
        if _accepted(text, language) and language.meaning(text) != own
    }
    meanings, sides = (
        {
            language.meaning(text)
            for text in exchanged(best.text, pairs)
            if _accepted(text, language)
        }
        for pairs in (getattr(language, "twins", TWINS), SIDES)
    )
    for other in hearing.hypotheses[1:]:
        if meanings and (meaning := language.meaning(other.text)) in meanings:
            found.setdefault(other.text, 0.0 if meaning in sides else best.score - other.score)
    if not hasattr(language, "twins"):
        for text, behind in _asked_as_well(hearing, language):
            found[text] = min(behind, found.get(text, math.inf))
    return found


def _twins_alone(
    said: Understanding, hearing: Hearing, language: Language
) -> Iterator[tuple[str, float]]:
    """Twins of the findings that were heard once more by themselves; either of the two may be what was said.

    What leans on the finding before it ("rear ninety") is heard as something else there, which tells nothing.
    """
    subjects = {part.finding.subject for part in said.parts if part.finding is not None}
    for one in hearing.alone:
        text = one.hypotheses[0].text if one.hypotheses else ""
        told = language.understand(text).finding
        found = twin_distances(one, language)
        if found and told is not None and told.subject in subjects:
            yield from ((text, min(found.values())), *found.items())


_BARE = frozenset({Flag.LED, Flag.ANSWERED})
"""A bare word said to what was asked ("fine"): many others are near it, how many was not measured."""


def _asked_as_well(hearing: Hearing, language: Language) -> Iterator[tuple[str, float]]:
    """What was heard as well and makes another finding of what is worst to be wrong about, and nats behind it.

    However far behind, told as 0: a fault, where the best hypothesis has the part as it should be; words, where it
    has a mere "is" or "are"; and all its words with others between. As twins are: a command or several findings
    in place of one, and the same number in another unit; nearer, another value.
    """
    best = hearing.hypotheses[0]
    said = language.understand(best.text)
    own = said.finding
    nothing = own is None and said.dialogue is None and not said.parts
    if nothing or not _BARE.isdisjoint(said.flags):
        return
    for other in hearing.hypotheses[1:]:
        more = lacks_words(best.text, other.text)
        parsed = language.understand(other.text)
        told = parsed.finding
        if parsed.decision is not Decision.ACCEPT or (told and own and told.meaning == own.meaning):
            continue
        behind = best.score - other.score
        if more or (own is not None and told is not None and _worse(own, told, best, other)):
            yield other.text, 0.0
        elif own is not None and (told is None or _like_a_twin(own, told, behind)):
            yield other.text, behind


NEAR_VALUE = 2.0
"""Nats: another value or code of the same part this near is asked about, whatever the chance says: of 16 that were, three
were right (the tuning part, docs/doubt.md)."""


def _like_a_twin(own: Finding, told: Finding, behind: float) -> bool:
    if own.component != told.component:
        return False
    one, two = own.quantity, told.quantity
    if one is not None and two is not None:
        return behind < NEAR_VALUE or (one.value == two.value and one.unit != two.unit)
    return behind < NEAR_VALUE and own.code is not None and told.code is not None


def _worse(own: Finding, told: Finding, best: Hypothesis, other: Hypothesis) -> bool:
    if merely(best.text, other.text):
        return True
    sound = own.condition == SOUND and told.component == own.component
    return sound and told.condition not in (None, SOUND)


def _accepted(text: str, language: Language) -> bool:
    return language.understand(text).decision is Decision.ACCEPT


def doubted(
    understanding: Understanding,
    hearing: Hearing,
    flags: frozenset[str],
    rules: DoubtRules,
    policy: Policy = Policy.BALANCED,
    *,
    rivals: tuple[Understanding, ...] = (),
    near_twins: tuple[tuple[Understanding, float], ...] = (),
    yes_or_no: bool = False,
) -> Understanding:
    """The understanding after doubt: accepted as it was, asked about, or refused.

    ``yes_or_no``: whether a yes or a no was said, whatever it comes to.

    ``rivals`` are the parsed next hypotheses, nearest first; they only shape the question.
    ``near_twins`` are the parsed twins that were heard too, with the nats they are behind. A
    typed word is not doubted; of a listener whose evidence the rules do not know nothing shows whether
    it heard right, and a finding of it, or a command that takes away, is asked about. What goes on behind the words
    that were heard is never accepted, however well these fit.
    """
    if not hearing.hypotheses or understanding.decision is Decision.REFUSE:
        return understanding
    known = rules.weights.get(hearing.listener)
    if known is None:
        return understanding if yes_or_no else _without_evidence(understanding, hearing, rivals)
    found = _weighed(
        understanding, hearing, flags, rules, policy, known, rivals, near_twins, yes_or_no
    )
    kind = kind_of(understanding)
    goes_on = found.decision is not Decision.REFUSE and rules.goes_on(hearing, kind)
    return _more_said(found) if goes_on else found


TYPED = "typed"
"""What was typed is what was meant: the listener that hears nothing."""


_CHANGES = (Command.DISREGARD, Command.SKIP, Command.STAND_BY)
"""Commands that take something away, or let nothing count from then on."""


def _without_evidence(
    understanding: Understanding, hearing: Hearing, rivals: tuple[Understanding, ...]
) -> Understanding:
    """Asked about: of 110 spoken orders pocketsphinx heard 15 as another whole phrase, and nothing told."""
    finding = understanding.kind is Kind.FINDING
    changes = understanding.dialogue in _CHANGES and Flag.ANSWERED not in understanding.flags
    counts = understanding.decision is Decision.ACCEPT and (finding or changes)
    if hearing.listener == TYPED or not counts:
        return understanding
    reason = "how sure this listener is, is not known"
    return asked_instead(understanding, rivals[:1], reason, Flag.UNSURE)


def _weighed(
    understanding: Understanding,
    hearing: Hearing,
    flags: frozenset[str],
    rules: DoubtRules,
    policy: Policy,
    known: Mapping[str, Weights],
    rivals: tuple[Understanding, ...],
    near_twins: tuple[tuple[Understanding, float], ...],
    yes_or_no: bool,
) -> Understanding:
    """``doubted`` but for what goes on behind the words."""
    weights = known["dialogue" if yes_or_no else kind_of(understanding)]
    evidence = terms(hearing)
    chance = weights.chance(evidence)
    said = understanding.decision is Decision.ACCEPT and understanding.kind is Kind.FINDING
    # Its end is bent by what follows: whether the words before it were said shows without that.
    bent = (
        chance < weights.refuse and said and rules.goes_on(hearing) and not silent_behind(hearing)
    )
    if bent and weights.chance(but_for_its_end(hearing)) >= HALF_HEARD:
        reason = "more was said than was understood"
        return asked_instead(understanding, (), reason, Flag.UNSURE)
    if chance < weights.refuse:
        return refused_instead(understanding, more_said=bool(hearing.left_over))
    if understanding.decision is Decision.ASK:
        return _asked_already(understanding, chance, known, rules, policy, flags)
    twin = tuple(each for each, behind in near_twins if behind < weights.twin_margin)
    if twin:
        reason = "something that sounds like it was heard nearly as well"
        return asked_instead(understanding, twin, reason, Flag.TWIN)
    if rivals and evidence["margin"] < CLOSE:
        return asked_instead(
            understanding, rivals[:1], "another meaning was heard as well", Flag.UNSURE
        )
    least = rules.least(weights, policy, flags, yes_or_no=yes_or_no)
    if understanding.parts and rules.one_word_bent(hearing):
        reason = "a word of it did not sound like that"
        return asked_instead(understanding, (), reason, Flag.UNSURE)
    if reason := why_doubtful(understanding):
        return asked_instead(understanding, (), reason, Flag.UNSURE)
    if chance < least:
        because = ", ".join(sorted(flags & set(rules.flags)))
        reason = "not heard clearly enough to count unasked" + (f" ({because})" if because else "")
        return asked_instead(understanding, rivals[:1], reason, Flag.UNSURE)
    return understanding


NEAR = 2.5
"""Nats: another meaning this near is named in the question."""


def judge_for(language: Language, rules: DoubtRules, policy: Policy = Policy.BALANCED) -> Judge:
    """``doubted`` as the pipeline wants it: parses rivals and twins with the language itself."""

    def judge(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        if not hearing.hypotheses:
            return understanding
        answers = isinstance(language, OpenQuestion) and language.is_yes_or_no(
            hearing.hypotheses[0].text
        )
        if hearing.listener not in rules.weights:
            return doubted(understanding, hearing, clip.flags, rules, policy, yes_or_no=answers)
        hearing = as_a_breath(understanding, hearing, clip)
        best = hearing.hypotheses[0].score
        rivals = tuple(
            parsed
            for hypothesis in hearing.hypotheses[1:4]
            if hypothesis.score > best - NEAR
            and (parsed := language.understand(hypothesis.text)).decision is Decision.ACCEPT
        )
        near_twins = tuple(
            (language.understand(text), behind)
            for text, behind in (
                *twin_distances(hearing, language).items(),
                *_twins_alone(understanding, hearing, language),
            )
        )
        return doubted(
            understanding,
            hearing,
            clip.flags,
            rules,
            policy,
            rivals=rivals,
            near_twins=near_twins,
            yes_or_no=answers,
        )

    return judge


def refused_instead(understanding: Understanding, *, more_said: bool = False) -> Understanding:
    """In a mechanic's words; the figures are the hypothesis's evidence, which is kept with it.

    ``more_said``: whether there was speech that no word of it covers.
    """
    why = "more was said than that, and it" if more_said else "it"
    return replace(
        understanding,
        decision=Decision.REFUSE,
        kind=Kind.NOTHING,
        reason=f"the nearest is '{understanding.text}', but {why} did not sound enough like it to "
        "count: say it again, closer to the microphone, or type it",
        finding=None,
        candidates=(),
        question=None,
        slots={},
        dialogue=None,
        parts=(),
    )


def _more_said(understanding: Understanding) -> Understanding:
    """Asked about, or the question it has told on; what it says may itself be cut short."""
    if understanding.decision is Decision.ACCEPT:
        reason = "more was said than was understood"
        return telling_more(asked_instead(understanding, (), reason, Flag.UNSURE))
    flagged = replace(
        understanding, flags=tuple(dict.fromkeys((*understanding.flags, Flag.UNCLEAR)))
    )
    return telling_more(flagged)


def _asked_already(
    understanding: Understanding,
    chance: float,
    known: Mapping[str, Weights],
    rules: DoubtRules,
    policy: Policy,
    flags: frozenset[str],
) -> Understanding:
    """What is asked for another reason keeps its question; that it was unclear is not forgotten.

    "Which end?" and "front" would else make a value count that would not have counted unasked.
    """
    if not understanding.candidates:
        return understanding
    said = replace(understanding, finding=understanding.candidates[0])
    if chance >= rules.least(known[kind_of(said)], policy, flags):
        return understanding
    return replace(understanding, flags=tuple(dict.fromkeys((*understanding.flags, Flag.UNCLEAR))))


def asked_instead(
    understanding: Understanding, others: tuple[Understanding, ...], reason: str, flag: Flag
) -> Understanding:
    """``understanding`` as a question about it and what else it may have been, for ``reason``."""
    return replace(
        understanding,
        decision=Decision.ASK,
        reason=reason,
        question=what_to_ask(understanding, others),
        candidates=distinct((understanding, *others)),
        parts=(),
        flags=tuple(dict.fromkeys((*understanding.flags, flag))),
    )
