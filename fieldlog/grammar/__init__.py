"""Closed grammars in JSGF: reading, checking, parsing, and compiling for listeners."""

from fieldlog.grammar.files import load_grammar
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.parse import Parse, Span, Tree
from fieldlog.grammar.tagged import TaggedLanguage

__all__ = ["Grammar", "Parse", "Span", "TaggedLanguage", "Tree", "load_grammar"]
