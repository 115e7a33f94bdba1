"""Small bars: evidence to either side of a line, and shares of a whole."""

from __future__ import annotations

from django.utils.safestring import SafeString

from inspections.web.present.svg import add, canvas, markup

_WIDTH, _HEIGHT = 240.0, 14.0


def diverging(share: float, *, prior: bool = False) -> SafeString:
    """A bar from the middle, right for the verdict and left against it; ``share`` is -1 to 1."""
    root = canvas(_WIDTH, _HEIGHT, "diverging", width=240, height=14, aria_hidden="true")
    middle = _WIDTH / 2
    reach = share * (middle - 4)
    add(root, "rect", x=min(middle, middle + reach), y=2, width=max(abs(reach), 1.0), height=10,
        class_="weight prior" if prior else "weight")  # fmt: skip
    add(root, "path", d=f"M{middle:.0f} 0V{_HEIGHT:.0f}", class_="centre")
    return markup(root)


def share(probability: float) -> SafeString:
    """A bar from the left, as long as the probability."""
    root = canvas(_WIDTH, _HEIGHT, "share", width=240, height=14, aria_hidden="true")
    add(root, "path", d=f"M0 11H{_WIDTH:.0f}", class_="grid")
    add(root, "rect", x=0, y=3, width=max(probability * _WIDTH, 1.0), height=8, class_="weight")
    return markup(root)
