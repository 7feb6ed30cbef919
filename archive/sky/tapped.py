"""Which star was meant by a tap on a chart."""

from __future__ import annotations

import numpy as np

from .catalogue import load_catalogue
from .chart import ChartRequest, scaled
from .places import apparent_vectors
from .projection import make_view, project, sky_at
from .times import jd_of_epoch

WITHIN = 24.0  # units of the chart, which is 1000 wide: about a fingertip on a phone


def tapped(request: ChartRequest, x: float, y: float) -> int | None:
    """The Hipparcos number of the drawn star that lies nearest to (x, y) in the chart's units (0 to 1000, y downward).

    A bright star is taken before a faint one that is as near: a magnitude is worth two units (ours, no source). None
    where no star is within a fingertip.
    """
    sky, stars = sky_at(request.place, request.jd_ut, request.year), load_catalogue()
    rows = stars.brighter(request.v_limit)
    points, shown = project(
        make_view(request.kind, sky), apparent_vectors(stars, rows, float(jd_of_epoch(sky.year)))
    )
    away = np.hypot(*(scaled(points) - [x, y]).T)
    near = np.flatnonzero(shown & (away <= WITHIN))
    if not len(near):
        return None
    return int(stars.hip[rows[near[np.argmin(away[near] + 2 * stars.v_mag[rows[near]])]]])
