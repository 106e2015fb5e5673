"""Refusals in the words of the edge at hand: they are written for HTTP, and read on a page and in a terminal too."""

from __future__ import annotations

import re

from service.words.language import N_, _

_FORMATS = r"pass date_format(=%\S+( or %\S+)?|, for example %\S+)?"
_OPTION = re.compile(r"\b(date_format|unit|confirm|checked_every_days)=(?=\w|%)")
_ON_PAGE: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(_FORMATS), N_("choose below the file how its dates are written")),
    (re.compile(r"pass unit=C, F or tenths_C"), N_("choose the unit below the file")),
    (re.compile(r"send it with confirm=units"), N_("tick 'The temperatures are right as they are'")),
    (re.compile(r"send it with confirm=dates"), N_("tick 'The dates are right as they are'")),
    (re.compile(r"send it with confirm=latitude"), N_("tick 'The latitude is right as it is'")),
    (re.compile("row_spacing_m and vine_spacing_m"), N_("'From row to row' and 'From vine to vine'")),
    (
        re.compile(r"with checked_every_days=(\d+)"),
        N_(r"with \1 in 'Its rows were walked every so many days'"),
    ),
)


def for_page(text: str) -> str:
    """A refusal for the page that makes a vineyard: its fields instead of options."""
    for pattern, words in _ON_PAGE:
        text = pattern.sub(_(words), text)
    return text


def for_command(text: str) -> str:
    """A refusal for the command line: ``date_format=%m/%d`` becomes ``--date-format %m/%d``."""
    told = text.replace("send it with confirm", "give confirm")
    named = _OPTION.sub(lambda found: f"--{found[1].replace('_', '-')} ", told)
    return named.replace("pass date_format,", "pass --date-format,")
