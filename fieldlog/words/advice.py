"""What to do, beside a reason that may say it already (pure)."""

from __future__ import annotations


def not_yet_told(advice: str, reason: str) -> tuple[str, ...]:
    """``advice``, unless ``reason`` ends in it; nothing for none."""
    return () if not advice or advice in reason else (advice,)
