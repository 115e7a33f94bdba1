"""``python -m tests.simulation.phenomenal --seed N --out FOLDER`` writes one portfolio."""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.simulation.book import write_book
from tests.simulation.phenomenal import simulate


def main() -> None:
    """Read the command line and write the folder."""
    parser = argparse.ArgumentParser(
        description="Write a portfolio of invented walls with the truth beside it."
    )
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--houses", type=int, default=12)
    parser.add_argument("--years", type=float, default=12)
    options = parser.parse_args()
    write_book(simulate(options.seed, houses=options.houses, years=options.years), options.out)


if __name__ == "__main__":
    main()
