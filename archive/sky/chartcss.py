"""The style sheet of the charts: three themes and print.  Without it all is drawn in the text colour."""

_CSS = """\
.skychart{color:#14202b;background:none;font-family:sans-serif;max-width:100%;height:auto}
.skychart .sc-rim{fill:none;stroke:currentColor;stroke-width:1.5}
.skychart .sc-below{fill:#14202b;fill-opacity:.08;stroke:none}
.skychart .sc-horizon{fill:none;stroke:currentColor;stroke-width:2}
.skychart .sc-milky{stroke:none;fill:#5d7890;fill-opacity:.13}
.skychart .sc-circle{fill:none;stroke:currentColor;stroke-width:.7;stroke-opacity:.45;stroke-dasharray:5 5}
.skychart .sc-star{stroke:none;fill:currentColor}
.skychart .sc-line{fill:none;stroke:#1d5c8f;stroke-width:1.6;stroke-linecap:round}
.skychart .sc-ring{fill:none;stroke:#1d5c8f;stroke-width:1.2}
.skychart .sc-name{fill:#12486f;stroke:none;font-size:17px;text-anchor:middle}
.skychart .sc-label{fill:currentColor;stroke:none;font-size:12px}
.skychart .sc-point{fill:currentColor;stroke:none;font-size:24px;font-weight:bold;text-anchor:middle}
.skychart .sc-body{fill:#a8480c;stroke:currentColor;stroke-width:.8}
.skychart .sc-path{fill:none;stroke:#7a2d64;stroke-width:1.6}
.skychart .sc-turn{fill:none;stroke:#7a2d64;stroke-width:1;stroke-dasharray:2 6}
.skychart .sc-path-dot{fill:#7a2d64;stroke:none}
.skychart .sc-path-year{fill:#7a2d64;stroke:none;font-size:11px}
.skychart a:focus .sc-line,.skychart a:hover .sc-line{stroke-width:3.5}
.skychart-dark{color:#dfe7ee;background:#0c141d}
.skychart-dark .sc-below{fill:#000;fill-opacity:.45}
.skychart-dark .sc-milky{fill:#9db6cc}
.skychart-dark .sc-line,.skychart-dark .sc-ring{stroke:#7fb6e0}
.skychart-dark .sc-name{fill:#a9cfee}
.skychart-dark .sc-body{fill:#f0b070}
.skychart-dark .sc-path,.skychart-dark .sc-turn{stroke:#dc9bcb}
.skychart-dark .sc-path-dot,.skychart-dark .sc-path-year{fill:#dc9bcb}
.skychart-dark .sc-hue0{fill:#b4ccff}
.skychart-dark .sc-hue1{fill:#e6eeff}
.skychart-dark .sc-hue2{fill:#fff6dc}
.skychart-dark .sc-hue3{fill:#ffdca6}
.skychart-dark .sc-hue4{fill:#ffb98a}
.skychart-red{color:#d0382a;background:#0d0000}
.skychart-red .sc-below{fill:#000;fill-opacity:.5}
.skychart-red .sc-milky{fill:#a02018}
.skychart-red .sc-line,.skychart-red .sc-ring,.skychart-red .sc-path,
.skychart-red .sc-turn{stroke:#a82c20}
.skychart-red .sc-name,.skychart-red .sc-body,.skychart-red .sc-path-dot,.skychart-red .sc-path-year{fill:#d0382a}
@media print{.skychart{color:#000;background:none}.skychart .sc-star{fill:#000}.skychart .sc-name,
.skychart .sc-body,.skychart .sc-path-dot,.skychart .sc-path-year{fill:#000}.skychart .sc-line,.skychart .sc-ring,
.skychart .sc-path,.skychart .sc-turn{stroke:#000}.skychart .sc-milky{fill:#000;fill-opacity:.06}
.skychart .sc-below{fill:#000;fill-opacity:.06}}
"""


def chart_css() -> str:
    """The style sheet of the charts, all themes and print."""
    return _CSS
