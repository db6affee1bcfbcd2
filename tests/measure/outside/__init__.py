"""Published tables and recordings that nobody here made, for tests."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parent


def rows_of(name):
    """Rows of a CSV table as dictionaries; lines that start with # are remarks."""
    with (FOLDER / name).open() as table:
        return list(csv.DictReader(line for line in table if not line.startswith("#")))
