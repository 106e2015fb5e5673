"""What README and guide print is what comes, and a printed value that drifts is noticed."""

from __future__ import annotations

import datetime as dt

import pytest

from tests.docs.printed import MONTHS, Token, day_of, missing, pieces, rewritten, tokens
from tests.docs.session import HELP, README, Block, play

REAL = (
    '{"fit":"bc4160dca1e4","season":2026,"rows":133,"first":"2026-05-28","heat":986.19,"cover":0.676,"n":7}\n'
    "│ 28 May │  986 │ finishes on 3 June, 7 days before block west-4; about 32 % of 1,024 flowers ...\n"
    "DTSTART;VALUE=DATE:20260518 made 2026-05-20T10:11:12Z"
)


@pytest.fixture(scope="module")
def came(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Block, str]]:
    """Every printed answer, and the real one."""
    return list(play(tmp_path_factory.mktemp("docs")))


def test_every_step_runs_and_answers_as_printed(came: list[tuple[Block, str]]) -> None:
    drifted = [f"{block.page.name}: {left}" for block, real in came if (left := missing(block.text, real))]
    assert not drifted, "\n\n".join(["python -m tests.docs.rewrite puts real values in", *drifted])
    assert len([block for block, _ in came if block.page == README]) >= 2
    assert len([block for block, _ in came if block.page == HELP["session"]]) >= 12
    assert sum(len(list(pieces(block.text))) for block, _ in came) >= 50


def moved(token: Token) -> str:
    """The token with another value, farther off than any machine's rounding."""
    match token.kind:
        case "number":
            value = 1.5 * float(token.text.replace(",", "")) + 3
            return f"{value:.2f}" if "." in token.text else f"{value:.0f}"
        case "spoken":
            day = day_of(token) + dt.timedelta(days=40)
            return f"{day.day} {MONTHS[day.month - 1]}"
        case "packed":
            return f"{day_of(token) + dt.timedelta(days=40):%Y%m%d}"
        case "date":
            return str(day_of(token) + dt.timedelta(days=4000))
    return "nothing-like-it"


def test_every_printed_value_is_held(came: list[tuple[Block, str]]) -> None:
    """Every third number, date and identifier is changed in turn, and the change is seen."""
    unseen = []
    values = tried = 0
    for block, real in came:
        for offset, piece in pieces(block.text):
            for token in tokens(piece):
                values += token.is_value
                if token.is_value and values % 3 == 0:
                    start, end = offset + token.start, offset + token.end
                    changed = block.text[:start] + moved(token) + block.text[end:]
                    tried += 1
                    if missing(changed, real) is None:
                        unseen.append((block.page.name, piece, token.text))
    assert tried >= 120
    assert unseen == []


@pytest.mark.parametrize(
    "printed",
    [
        '{"fit":"000000000000", ... "rows":133, ... "heat":990.0,"cover":0.68,"n":7}',
        '"first":"2026-05-29" ... │ 27 May │ 990 │ finishes on 4\nJune, 8 days before block west-4; about 31 %',
        "DTSTART;VALUE=DATE:20260519 made 2027-01-01T00:00:00Z",
    ],
)
def test_what_another_machine_might_print_is_taken(printed: str) -> None:
    assert missing(printed, REAL) is None


@pytest.mark.parametrize(
    "printed",
    [
        '"season":2025',
        '"rows":134',
        '"first":"2026-05-30"',
        '"heat":1010.0',
        '"cover":0.70',
        '"n":8',
        "finishes on 5 June",
        "9 days before",
        "block west-5",
        "about 34 %",
        "1,025 flowers",
        "DATE:20260520",
        '"fit":"a-fit"',
        '"heat":986.19 ... "season":2026',
    ],
)
def test_what_is_another_answer_is_not(printed: str) -> None:
    told = missing(printed, REAL)
    assert told is not None
    assert "the real answer" in told


def test_rewriting_keeps_what_was_shortened_and_mends_the_rest() -> None:
    printed = ' "rows":99, ... "heat":1.0, ... finishes on 9\n June, 70 days before block west-4; ... DATE:20250101\n'
    made = ' "rows":133, ... "heat":986.19, ... finishes on 3 June, 7 days before block west-4; ... DATE:20260518\n'
    assert rewritten(printed, REAL) == made
    words = rewritten("... finishes on 3 June, many days before block west-4; about ...", REAL)
    assert words == "... finishes on 3 June, 7 days before block west-4; about ..."
