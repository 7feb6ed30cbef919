"""The skyline drawn as a strip from north round to north, with where figures come up and go down."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from django.utils.translation import gettext as _

from ...sky import FigurePassage, Skyline
from .words import Shown

WIDTH, HEIGHT, FOOT = 900.0, 240.0, 36.0  # in the units of its drawing
LEAST_DEG, HEADROOM_DEG = 12.0, 4.0


def panorama(skyline: Skyline, figures: Sequence[tuple[str, FigurePassage]]) -> Shown:
    """The context of the strip in templates/sky/horizon.html: an outline, letters, and a mark for each crossing."""
    top = max(LEAST_DEG, max(skyline.altitude_deg) + HEADROOM_DEG)
    low = min(-2.0, min(skyline.altitude_deg) - 1.0)

    def x(azimuth_deg: float) -> float:
        return azimuth_deg / 360 * WIDTH

    def y(altitude_deg: float) -> float:
        return (top - altitude_deg) / (top - low) * (HEIGHT - FOOT)

    azimuths = sorted({0.0, 360.0, *skyline.azimuth_deg})
    edge = "L".join(f"{x(a):.1f} {y(h):.1f}" for a, h in zip(azimuths, skyline.floor(np.array(azimuths)).tolist(),
                                                           strict=True))
    ground = y(low)
    return {
        "width": WIDTH, "height": HEIGHT, "sky": ground,
        "ground": f"M0 {ground:.1f}L{edge}L{WIDTH:.1f} {ground:.1f}Z",
        "edge": f"M{edge}",
        "level": y(0.0),
        "letters": [{"x": x(turn), "y": HEIGHT - 8, "text": text, "anchor": anchor} for turn, text, anchor in (
            (0, _("N"), "start"), (90, _("E"), "middle"), (180, _("S"), "middle"), (270, _("W"), "middle"),
            (360, _("N"), "end"))],
        "heights": [{"y": y(h), "text": f"{h}°"} for h in range(0, int(top) + 1, 5 if top < 30 else 10)],
        "marks": [
            {"x": x(event.azimuth_deg % 360), "y": y(event.altitude_deg), "way": way, "name": name}
            for name, one in figures
            for event, way in ((one.first_rise, "rise"), (one.last_set, "set"))
            if event is not None and event.altitude_deg <= top
        ],
    }
