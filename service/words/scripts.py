"""What the scripts of a page say; pages hand it to them in the reader's language, ``{names}`` left for the script."""

from __future__ import annotations

from service.words.language import N_, _

VISIT_FORM = {
    "kept": N_("The visit is kept on this phone and is sent as soon as that works."),
    "found": N_("{percent} % of caps off"),
    "refused": N_("Refused, and not sent again: {why}. Correct it above and record it anew, or discard it."),
    "waiting": N_("waiting"),
    "mayNot": N_("not sent: this key may not record"),
    "discard": N_("Discard"),
    "signedOut": N_("This phone is signed in no more."),
    "forbidden": N_(
        "This key may not record visits: {why}. The visit is kept on this phone: sign in with a key that may record, "
        "and open this page again."
    ),
    "serviceSays": N_("The service says: {why}."),
    "notOurs": N_("Something else than the service answered, as the sign-in page of a network does."),
    "noConnection": N_("No connection."),
    "othersRefused": N_("The service refused a visit, see below."),
    "lookAgain": N_("Please look again:"),
    "recorded": N_("Recorded: {visits}. The windows on the board know of it."),
    "notUndone": N_("It could not be undone: {why}."),
    "noAnswer": N_("no answer"),
    "undone": N_("Undone: that visit counts no more."),
    "correctionUndone": N_("Undone: the visit counts again as it was before it was corrected."),
    "notUndoneYet": N_("No connection: it is not undone yet."),
}


def visit_form_words() -> dict[str, str]:
    """What the script of the visit form says, by what it is for."""
    return {name: _(said) for name, said in VISIT_FORM.items()}
