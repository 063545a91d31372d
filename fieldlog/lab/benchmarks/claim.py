"""What a count can claim: its share and, beside what is silently wrong, the upper 95 % bound (pure)."""

from __future__ import annotations


def upper_bound(hits: int, of: int, confidence: float = 0.95) -> float:
    """The share (0..1) that is not exceeded with this confidence, one-sided.

    Clopper and Pearson, "The use of confidence or fiducial limits illustrated in the case of the
    binomial", Biometrika 26 (1934), 404-413.
    """
    if not of or hits >= of:
        return 1.0
    from scipy.special import betaincinv

    return float(betaincinv(hits + 1, of - hits, confidence))


def share(count: int, of: int) -> str:
    """ "12 (3.4 %)"; "-" of nothing."""
    return f"{count} ({100.0 * count / of:.1f} %)" if of else "-"


def claim(count: int, of: int) -> str:
    """ "4 (0.2 %, at most 0.5 %)": with its upper 95 % bound; "-" of nothing."""
    most = 100.0 * upper_bound(count, of)
    return f"{count} ({100.0 * count / of:.1f} %, at most {most:.1f} %)" if of else "-"
