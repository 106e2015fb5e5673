"""A region as a picture: the median day of one stage, in colours from early to late, with its scale and edges."""

from __future__ import annotations

import base64
import datetime as dt
import struct
import zlib
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray
from service.words.forecast import stage_words

# From early to late; steps of equal lightness, so that it can be read in grey too.
COLOURS = np.array(
    [(68, 24, 84), (56, 86, 140), (32, 142, 140), (108, 196, 88), (250, 228, 60)], dtype=np.float64
)
WIDTH = 720  # [px]
MOST_CELLS = 2_000_000  # drawn; of larger regions every second, third, ... cell
EDGE_SHARES = (0.02, 0.98)  # of the cells lie between the ends of the scale


def draw_region(path: Path, picture: Path) -> None:
    """Draw the first cultivar and stage of a region's file, as SVG; the last season where there are several."""
    import xarray as xr

    with xr.open_dataset(path, chunks={}) as file:
        day = file["bloom_day"]
        cells = [name for name in day.dims if name not in ("season", "quantile", "cultivar", "stage")]
        first = dict.fromkeys(("cultivar", "stage"), 0) | ({"season": -1} if "season" in day.dims else {})
        chosen = day.isel(first).sel(quantile=0.5)
        step = max(int(np.ceil(np.sqrt(chosen.size / MOST_CELLS))), 1)
        thinned = chosen.isel({name: slice(None, None, step) for name in cells}).load()
        values = np.atleast_2d(np.asarray(thinned.values, dtype=np.float64))
        latitude = thinned["lat"] if "lat" in thinned.coords else thinned["latitude"]
        if latitude.ndim == 1 and latitude.dims[0] == cells[0] and latitude[0] < latitude[-1]:
            values = values[::-1]  # north is up
        season = f" {int(thinned['season'])}" if "season" in thinned.coords else ", usual weather"
        title = f"{thinned['cultivar'].item()}: {stage_words(str(thinned['stage'].item()))}{season}, median"
        edges = f"{float(latitude.min()):.2f} to {float(latitude.max()):.2f} degrees north"
    picture.write_text(region_svg(values, title=title, edges=edges), encoding="utf-8")


def region_svg(days: FloatArray, *, title: str, edges: str) -> str:
    """Days since 1 January as coloured cells, shape (row, column), with a title and a scale."""
    known = days[np.isfinite(days)]
    low, high = np.quantile(known, EDGE_SHARES) if known.size else (0.0, 1.0)
    height = max(round(WIDTH * days.shape[0] / days.shape[1]), 1)
    scale = png(coloured(np.linspace(low, high, 256)[np.newaxis], low, high))
    return f"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height + 90}" font-family="sans-serif">
<title>{escape(title)}</title>
<text x="0" y="20" font-size="16">{escape(title)}</text>
<image x="0" y="30" width="{WIDTH}" height="{height}" preserveAspectRatio="none" style="image-rendering: pixelated"
 href="data:image/png;base64,{png(coloured(days, low, high))}"/>
<image x="0" y="{height + 40}" width="300" height="14" preserveAspectRatio="none" href="data:image/png;base64,{scale}"/>
<text x="0" y="{height + 70}" font-size="12">{_date(low)} or before</text>
<text x="300" y="{height + 70}" font-size="12" text-anchor="end">{_date(high)} or later</text>
<text x="{WIDTH}" y="{height + 52}" font-size="12" text-anchor="end">{escape(edges)}</text>
</svg>
"""


def coloured(values: FloatArray, low: float, high: float) -> NDArray[np.uint8]:
    """Red, green, blue and opacity of each value; what is not known is left clear."""
    share = np.clip((values - low) / max(high - low, 1e-9), 0, 1)
    known = np.isfinite(values)
    stops = np.linspace(0, 1, len(COLOURS))
    bands = [np.interp(np.where(known, share, 0), stops, COLOURS[:, band]) for band in range(3)]
    return np.stack([*bands, np.where(known, 255, 0)], axis=-1).astype(np.uint8)


def png(pixels: NDArray[np.uint8]) -> str:
    """Pixels of four bytes as a PNG image (ISO/IEC 15948), in base 64."""
    height, width, _ = pixels.shape
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)
    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    parts = ((b"IHDR", header), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    made = b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in parts
    )
    return base64.b64encode(b"\x89PNG\r\n\x1a\n" + made).decode()


def _date(day: float) -> str:
    date = dt.date(2001, 1, 1) + dt.timedelta(days=round(day))
    return f"{date.day} {date:%b}"
