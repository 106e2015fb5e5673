"""Refusals in the words of page and command line."""

from __future__ import annotations

import pytest

from service.web.edge_words import for_command, for_page


@pytest.mark.parametrize(
    ("text", "page", "command"),
    [
        (
            "write dates as 2026-05-31, or pass date_format=%d/%m/%Y or %m/%d/%Y",
            "write dates as 2026-05-31, or choose below the file how its dates are written",
            "write dates as 2026-05-31, or pass --date-format %d/%m/%Y or %m/%d/%Y",
        ),
        (
            "or pass date_format, for example %d/%m/%Y",
            "or choose below the file how its dates are written",
            "or pass --date-format, for example %d/%m/%Y",
        ),
        (
            "pass unit=C, F or tenths_C, or name the columns as in tmin_c",
            "choose the unit below the file, or name the columns as in tmin_c",
            "pass --unit C, F or tenths_C, or name the columns as in tmin_c",
        ),
        (
            "if it is right all the same, send it with confirm=dates",
            "if it is right all the same, tick 'The dates are right as they are'",
            "if it is right all the same, give --confirm dates",
        ),
        (
            "Say how often with checked_every_days=7",
            "Say how often with 7 in 'Its rows were walked every so many days'",
            "Say how often with --checked-every-days 7",
        ),
        ("'x' is not a number", "'x' is not a number", "'x' is not a number"),
    ],
)
def test_options_are_named_as_the_reader_finds_them(text: str, page: str, command: str) -> None:
    assert for_page(text) == page
    assert for_command(text) == command
