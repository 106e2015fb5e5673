"""What the fields of forms and the kinds of things are called on pages, where a refusal names one."""

from __future__ import annotations

from service.words.language import N_, _

FIELDS = {
    "addresses": N_("Addresses, one a line"),
    "block": N_("Block"),
    "blocks": N_("Blocks"),
    "bloom_end": N_("Bloom end"),
    "bloom_start": N_("Bloom start"),
    "budbreak": N_("Budbreak"),
    "checked_every_days": N_("The rows were walked every so many days"),
    "colder": N_("Cordons are colder than the station by"),
    "cultivar": N_("Cultivar"),
    "date": N_("Day"),
    "export": N_("The file that was saved"),
    "fit": N_("Fit"),
    "flowers": N_("Flowers"),
    "full_bloom": N_("Full bloom"),
    "grower": N_("Grower"),
    "growers": N_("Whose vineyards it shows"),
    "issued_on": N_("Outlook issued on"),
    "key": N_("Key"),
    "latitude": N_("Latitude"),
    "longitude": N_("Longitude"),
    "name": N_("Name"),
    "neighbours": N_("Neighbours"),
    "night": N_("Night"),
    "note": N_("Note"),
    "notes": N_("Notes on sources for it, one a line"),
    "observer": N_("Observer"),
    "percent_killed": N_("Shoots killed, per cent"),
    "percent_open": N_("Caps off, per cent"),
    "quality": N_("Quality of its pollen beside the best, per cent"),
    "reach": N_("How far pollen is carried"),
    "rows": N_("Rows"),
    "season": N_("Season"),
    "since": N_("Since"),
    "source": N_("Whose limits, of which grape"),
    "station": N_("Station"),
    "timezone": N_("Time zone"),
    "vines": N_("Vines"),
    "vines_a_day": N_("Vines that the crew picks in a day"),
    "vineyard": N_("Vineyard"),
    "visit": N_("Visit"),
    "weekdays": N_("Days on which the rows can be walked"),
    "workbook": N_("Workbook"),
    "x": N_("East (x)"),
    "y": N_("North (y)"),
}


def field_words(where: str) -> str:
    """A field or kind as its label has it; a place that is none of them as it is."""
    return _(FIELDS[where]) if where in FIELDS else where
