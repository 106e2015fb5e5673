"""What all charts have in common, and the chart library's script."""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import bokeh
from bokeh.core.types import ID
from bokeh.embed import json_item
from bokeh.plotting import figure

PLUM, LEAF, BAND, MUTED, CHART_INK, ALARM = "#5b2160", "#3c6b35", "#c9bfa9", "#6b6358", "#2b2622", "#a3271b"
FONT = "system-ui, sans-serif"
SCRIPT_NAME = f"bokeh-{bokeh.__version__}.min.js"


@dataclass(frozen=True)
class Chart:
    """A chart for the page: where it goes, and what the library's script draws there."""

    id: str
    item: dict[str, Any]


def chart(id: str, drawn: figure) -> Chart:
    """A figure for the element of that identifier."""
    return Chart(id, dict(json_item(drawn, ID(id))))


def plain_figure(**options: Any) -> figure:
    """A figure without tools that fills the width that there is."""
    drawn = figure(sizing_mode="stretch_width", toolbar_location=None, tools="", **options)
    drawn.background_fill_color = drawn.border_fill_color = None
    drawn.outline_line_color = None
    drawn.grid.grid_line_color = "#e4dccb"
    for axis in drawn.axis:
        axis.axis_label_text_font = axis.major_label_text_font = FONT
        axis.axis_label_text_font_style = "normal"
        axis.axis_label_text_color = axis.major_label_text_color = CHART_INK
        axis.major_label_text_font_size = "12px"
        axis.axis_label_text_font_size = "13px"
        axis.axis_line_color = axis.major_tick_line_color = MUTED
        axis.minor_tick_line_color = None
    return drawn


def tip(*lines: str) -> str:
    """What a pointer on a chart is told, narrow enough for a phone; columns are named as in "@day"."""
    first, *others = lines
    return f'<div class="tip"><b>{first}</b><br>{"<br>".join(others)}</div>'


@cache
def library_script() -> bytes:
    """The library's script as its package ships it, compressed: a phone loads it once."""
    script = resources.files("bokeh") / "server" / "static" / "js" / "bokeh.min.js"
    return gzip.compress(script.read_bytes(), mtime=0)
