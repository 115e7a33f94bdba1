"""Write one simulated book: ``python -m tests.simulation.physical --seed N --out FOLDER``."""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.simulation.book import write_book

from . import simulate


def main() -> None:
    """Parse the arguments and write the folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--houses", type=int, default=12)
    parser.add_argument("--years", type=int, default=12)
    options = parser.parse_args()
    write_book(simulate(options.seed, houses=options.houses, years=options.years), options.out)


if __name__ == "__main__":
    main()
