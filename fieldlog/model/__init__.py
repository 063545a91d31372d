"""The words of the design as types: what an inspection is made of (pure, frozen).

Units of the fields: times inside a recording are seconds (float) from its start; instants are
timezone-aware UTC datetimes; values that were measured are exact ``Fraction``s with the unit that
was said.
"""
