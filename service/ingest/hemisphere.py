"""Do the seasons of a weather record fit the latitude? A lost minus sign turns them round."""

from __future__ import annotations

import numpy as np

from models.errors import BadInput, Problem
from models.records import DailyTemperatures
from service.ingest.options import overridden_by

MIDSUMMER = 200  # day of the year on which the north is warmest, about; common practice, no source
# Fewer days, less of the year or a weaker course tell nothing: the tropics, or an odd spring. Ours.
FEWEST_DAYS, FEWEST_COSINE, WEAKEST_COURSE_C = 120, 1.2, 4.0


def check_hemisphere(record: DailyTemperatures, latitude: float) -> None:
    """Refuse a latitude on the half of the earth where it is winter when the record is warm.

    Raises
    ------
    BadInput
        With the word that overrides it.
    """
    known = np.isfinite(record.tmin_c)
    day = (record.dates - record.dates.astype("datetime64[Y]")).astype(np.float64)[known]
    course = np.cos((day + 1 - MIDSUMMER) * 2 * np.pi / 365.25)
    if day.size < FEWEST_DAYS or np.ptp(course) < FEWEST_COSINE:
        return
    mean_c = ((record.tmin_c + record.tmax_c) / 2)[known]
    slope_c = np.polyfit(course, mean_c, 1)[0]
    if abs(slope_c) < WEAKEST_COURSE_C or (slope_c > 0) == (latitude >= 0):
        return
    warm, half = ("July", "north") if slope_c > 0 else ("January", "south")
    problem = (
        f"{latitude:g} degrees, yet the temperatures are warmest about {warm}, as {half} of the equator; "
        f"is the sign right? {overridden_by('latitude').capitalize()}"
    )
    raise BadInput("the latitude does not fit the temperatures", [Problem("latitude", problem)])
