"""What went wrong, and what to do about it where the reader stands."""

from __future__ import annotations

from enum import StrEnum, auto

from models.bloom.set_aside import NothingToFit
from models.errors import Remedy
from service.words.jobs import job_words
from service.words.language import N_, _
from service.words.set_aside import set_aside_words

MOST_SLIPS_TOLD = 3


class Reader(StrEnum):
    """Where somebody reads: on a page, at the command line, or over HTTP."""

    PAGE = auto()
    TERMINAL = auto()
    HTTP = auto()


_ON_THE_PAGE = "on its page (capfall serve)"
REMEDIES: dict[Remedy, dict[Reader, str]] = {
    Remedy.MAKE_FIT: {
        Reader.PAGE: N_("make one on the vineyard's season page"),
        Reader.TERMINAL: f"make one for the vineyard {_ON_THE_PAGE}",
        Reader.HTTP: "make one with POST /v1/fits, or import one with POST /v1/fits/import",
    },
    Remedy.USE_FIT: {
        Reader.PAGE: N_("fit the log, or choose a fit, on the vineyard's season page"),
        Reader.TERMINAL: f"make one for the vineyard {_ON_THE_PAGE}",
        Reader.HTTP: (
            "make one with POST /v1/fits, or put one that there is in use with PUT /v1/vineyards/{vineyard}/fit"
        ),
    },
    Remedy.ADD_BLOCKS: {
        Reader.PAGE: N_("upload its planting"),
        Reader.TERMINAL: "give the service its planting first (capfall serve)",
        Reader.HTTP: "put some, or upload a planting with POST /v1/vineyards/{vineyard}/planting",
    },
    Remedy.ADD_STATION: {
        Reader.PAGE: N_("name the station whose temperatures stand for it"),
        Reader.TERMINAL: "name the station whose temperatures stand for it",
        Reader.HTTP: "put the vineyard with the station whose temperatures stand for it",
    },
    Remedy.ADD_TEMPERATURES: {
        Reader.PAGE: N_("upload some first"),
        Reader.TERMINAL: "give the service some first (capfall serve)",
        Reader.HTTP: "upload some with POST /v1/stations/{station}/temperatures first",
    },
    Remedy.EARLIER_TEMPERATURES: {
        Reader.PAGE: N_("upload temperatures of earlier seasons, or look at a later day"),
        Reader.TERMINAL: "add temperatures of earlier seasons, or give a later --as-of",
        Reader.HTTP: "upload earlier seasons, or ask for a later as_of",
    },
    Remedy.A_WHOLE_PAST_YEAR: {
        Reader.PAGE: N_("upload at least one whole past year of temperatures"),
        Reader.TERMINAL: "add temperatures of at least one whole past year",
        Reader.HTTP: "upload at least one whole past year of temperatures",
    },
    Remedy.LOG_BLOOM: {
        Reader.PAGE: N_("record visits, or upload a bloom log first"),
        Reader.TERMINAL: "add bloom dates to the bloom log, or visits",
        Reader.HTTP: "upload a bloom log or visits first",
    },
    Remedy.EARLIER_BLOOM: {
        Reader.PAGE: N_("upload the bloom logs of earlier seasons"),
        Reader.TERMINAL: "add earlier seasons to the bloom log",
        Reader.HTTP: "upload the bloom logs of earlier seasons",
    },
    Remedy.RUN_HINDCAST: {
        Reader.PAGE: N_("run it with the button on this page"),
        Reader.TERMINAL: "run it with capfall hindcast",
        Reader.HTTP: "POST to the same address to run one",
    },
}


def error_words(error: Exception, reader: Reader) -> str:
    """What went wrong, and what would help, as part of a sentence."""
    told = str(error)
    if isinstance(error, NothingToFit):
        told += "".join(f"; {set_aside_words(slip)}" for slip in error.set_aside[:MOST_SLIPS_TOLD])
    if why := getattr(error, "job_message", ""):
        told += f": {job_words(why)}"
    remedy = getattr(error, "remedy", None)
    return f"{told}; {_(REMEDIES[remedy][reader])}" if isinstance(remedy, Remedy) else told
