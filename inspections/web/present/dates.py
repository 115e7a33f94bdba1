"""Dates in words, and the analysis's float days turned back into dates."""

from __future__ import annotations

import datetime as dt

EPOCH = dt.date(1970, 1, 1)


def day(date: dt.date, today: dt.date | None = None) -> str:
    """Such as "3 March 2026"; the year is left out where it is that of ``today``."""
    text = f"{date.day} {date:%B}"
    return text if today is not None and date.year == today.year else f"{text} {date.year}"


def parse(text: str | None) -> dt.date | None:
    """The date of an ISO text of a stored result, or None."""
    return dt.date.fromisoformat(text) if text else None


def to_days(date: dt.date) -> float:
    """Float days since 1970-01-01, the analysis's time."""
    return float((date - EPOCH).days)


def from_days(days: float) -> dt.date:
    """The local date of the analysis's time."""
    return EPOCH + dt.timedelta(days=int(days // 1))


def month(text: str | None) -> str:
    """Such as "April 2019" of an ISO date, for what is only known roughly."""
    date = parse(text)
    return f"{date:%B %Y}" if date else ""


#: Up to so many days a span is told in days, and up to so many in months.
_DAYS, _MONTHS = 60, 730
_A_MONTH, _A_YEAR = 30.44, 365.2425


def span(days: int) -> str:
    """A length of time as people say it: "10 days", "5 months", "3 years"."""
    if days <= _DAYS:
        return f"{days} day{'' if days == 1 else 's'}"
    if days <= _MONTHS:
        return f"{days / _A_MONTH:.0f} months"
    return f"{days / _A_YEAR:.0f} years"
