"""Text cells that a spreadsheet would take for a formula: written with an apostrophe before them, and read back."""

from __future__ import annotations

BEGINNINGS = ("=", "+", "-", "@", "\t", "\r")


def as_text(cell: str) -> str:
    """The cell as a spreadsheet shows it instead of computing it (OWASP, CSV injection)."""
    return f"'{cell}" if cell.lstrip("'").startswith(BEGINNINGS) else cell


def from_text(cell: str) -> str:
    """The cell that `as_text` wrote."""
    return cell[1:] if cell.startswith("'") and cell.lstrip("'").startswith(BEGINNINGS) else cell
