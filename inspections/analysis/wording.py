"""Counts and lists as sentences say them."""

_SMALL = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def spelt(count: int) -> str:
    """A small count in letters."""
    return _SMALL[count] if count < len(_SMALL) else str(count)


def listed(parts: list[str]) -> str:
    """Such as "a, b and c"."""
    return " and ".join(part for part in (", ".join(parts[:-1]), parts[-1]) if part) if parts else ""


def capital(text: str) -> str:
    """The text with its first letter large and the rest as it is."""
    return text[:1].upper() + text[1:]
