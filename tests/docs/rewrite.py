"""Put real values into the printed answers of README and guide: ``python -m tests.docs.rewrite``.

What was shortened stays shortened. Read the difference before it is committed.
"""

from __future__ import annotations

import tempfile
from collections import defaultdict
from pathlib import Path

from tests.docs.printed import missing, rewritten
from tests.docs.session import Block, play


def main() -> None:
    """Run all steps, rewrite the pages, and print what no rewriting could mend."""
    with tempfile.TemporaryDirectory() as folder:
        came = list(play(Path(folder)))
    of_page: dict[Path, list[tuple[Block, str]]] = defaultdict(list)
    for block, real in came:
        of_page[block.page].append((block, rewritten(block.text, real)))
        left = missing(rewritten(block.text, real), real)
        if left is not None:
            print(f"{block.page.name}, by hand: {left}\n")
    for page, changes in of_page.items():
        text = page.read_text(encoding="utf-8")
        for block, new in changes:
            text = text.replace(f"```\n{block.text}```", f"```\n{new}```", 1)
        page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
