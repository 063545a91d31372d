"""Closed grammars in JSGF: reading, checking, parsing, and compiling for listeners."""

from fieldlog.grammar.files import load_grammar
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.parse import Parse, Tree
from fieldlog.grammar.tagged import TaggedLanguage

__all__ = ["Grammar", "Parse", "TaggedLanguage", "Tree", "load_grammar"]
