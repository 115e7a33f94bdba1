"""Redraws the survival curves from the API alone: a worked example for analysts, on the standard library.

    python docs/survival_curves.py http://127.0.0.1:8000 binder curves.svg

The token of an analyst is read from the environment variable ``TOKEN``. What can be asked and what is
answered is taken from the API's own description (OpenAPI), not from this program: it finds the address,
checks that it takes ``by``, and checks every row against the described fields.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from urllib.request import Request, urlopen
from xml.sax.saxutils import escape

WIDTH, HEIGHT, MARGIN = 720, 300, 50


def get(address: str, token: str) -> Any:
    """The JSON under an address."""
    request = Request(address, headers={"Authorization": f"Bearer {token}", "Accept": "application/json"})
    with urlopen(request) as response:
        return json.load(response)


def described(description: dict[str, Any], operation: str) -> tuple[str, set[str], set[str]]:
    """Path, parameters and a row's fields of an operation, by its id."""
    for path, operations in description["paths"].items():
        asked = operations.get("get", {})
        if asked.get("operationId") == operation:
            schema = asked["responses"]["200"]["content"]["application/json"]["schema"]
            rows = _resolved(description, schema)["properties"]["results"]["items"]
            names = {parameter["name"] for parameter in asked["parameters"]}
            return path, names, set(_resolved(description, rows)["properties"])
    raise SystemExit(f"The description has no operation {operation!r}.")


def _resolved(description: dict[str, Any], schema: dict[str, Any]) -> dict[str, Any]:
    at: Any = description
    for step in schema.get("$ref", "").split("/")[1:]:
        at = at[step]
    return at if "$ref" in schema else schema


def curves(root: str, token: str, by: str) -> dict[str, list[dict[str, Any]]]:
    """The points of each group's curve, in order of age."""
    description = get(f"{root}/api/v1/schema/?format=json", token)
    path, parameters, fields = described(description, "survival")
    assert "by" in parameters, "survival can't be grouped"
    found: dict[str, list[dict[str, Any]]] = {}
    for row in get(f"{root}{path}?{urlencode({'by': by})}", token)["results"]:
        assert set(row) == fields, f"a row is not as described: {sorted(row)}"
        name = ", ".join(value or "not given" for value in row["group"].values())
        found.setdefault(name, []).append(row)
    return found


def drawing(found: dict[str, list[dict[str, Any]]]) -> str:
    """One small picture under another: the curve, and the band of its 95 % interval."""
    last = max((rows[-1]["years"] for rows in found.values()), default=1.0)

    def at(years: float, share: float, top: float) -> str:
        x = MARGIN + years / last * (WIDTH - 2 * MARGIN)
        return f"{x:.1f} {top + MARGIN + (1 - share) * (HEIGHT - 2 * MARGIN):.1f}"

    parts = []
    for place, (name, rows) in enumerate(found.items()):
        top = place * HEIGHT
        banded = [row for row in rows if row["low"] is not None and row["high"] is not None]
        band = [at(row["years"], row["high"], top) for row in banded]
        band += [at(row["years"], row["low"], top) for row in reversed(banded)]
        line = "L".join(at(row["years"], row["survival"], top) for row in rows)
        said = f"{name}: {rows[0]['coats']} coats, {rows[0]['failures']} failed"
        parts.append(f'<text x="{MARGIN}" y="{top + 30}">{escape(said)}</text>')
        if band:
            parts.append(f'<path d="M{"L".join(band)}Z" fill="#b9d3d2"/>')
        parts.append(f'<path d="M{line}" fill="none" stroke="#211d18" stroke-width="2"/>')
        for years in (0.0, last):
            x, y = at(years, 0, top).split()
            parts.append(f'<text x="{x}" y="{float(y) + 18}" text-anchor="middle">{years:.0f} years</text>')
    size = f'width="{WIDTH}" height="{max(len(found), 1) * HEIGHT}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="sans-serif">{"".join(parts)}</svg>\n'


def main(root: str, by: str, file: str) -> None:
    """Ask, draw, and write the drawing."""
    found = curves(root.rstrip("/"), os.environ["TOKEN"], by)
    Path(file).write_text(drawing(found), encoding="utf-8")
    for name, rows in found.items():
        print(f"{name}: {len(rows)} points up to {rows[-1]['years']:.0f} years")


if __name__ == "__main__":
    if len(sys.argv) != 4:
        raise SystemExit(__doc__)
    main(*sys.argv[1:])
