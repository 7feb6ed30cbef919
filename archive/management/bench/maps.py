"""The map of 5,000 places in headless Chromium, served by the archive itself: until it can be used, and how much comes.

A process and a database of its own. Each round is a browser that has kept nothing; what is counted are the bytes that
came over the wire, headers included. "Interactive" is when the marks of the places are drawn and the browser has
answered a key press on one of them, from the start of the navigation of the page around the map's frame.
"""

from __future__ import annotations

import json
import shutil
import threading
from typing import Any

from archive.management.bench import _apart

PLACES, MADE, SEGMENTS, ROUNDS = 5_000, 5_100, 10_000, 5  # some of those made are hidden
MOST_S, MOST_MB = 1.5, 1.0
ARGUMENTS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)
FIRST_MARK = ".place-mark[role=button]"


def rows(segments: int = SEGMENTS) -> list[dict[str, Any]]:
    return _apart.rows_of("maps", segments)


def measure(segments: int) -> None:
    _apart.world(segments=segments, cues_in_segment=1, words_in_cue=2, places=MADE, people=200)
    print(json.dumps(_measured()))


def _measured() -> list[dict[str, Any]]:
    with _Serving() as site:
        rounds = [_round(site) for _ in range(ROUNDS + 1)][1:]  # the first fills what the server keeps ready
    seconds = min(round_[0] for round_ in rounds)
    megabytes = max(round_[1] for round_ in rounds)
    return [
        _row("map_5000", seconds, "s until interactive, least of five", MOST_S),
        _row("map_5000_size", megabytes, "MB over the wire", MOST_MB),
    ]


def _row(name: str, ours: float, unit: str, most: float) -> dict[str, Any]:
    return {"name": name, "ours": ours, "peer": None, "ratio": ours / most, "unit": unit, "goal": f"<= {most:g}",
            "holds": ours <= most}


class _Serving:
    """The archive on a free port of this machine, in a thread."""

    def __enter__(self) -> str:
        from waitress.server import create_server

        from config.wsgi import application

        self.server = create_server(application, host="127.0.0.1", port=0, threads=8)
        threading.Thread(target=self.server.run, daemon=True).start()
        return f"http://127.0.0.1:{self.server.effective_port}"

    def __exit__(self, *_args: Any) -> None:
        self.server.close()


def _round(site: str) -> tuple[float, float]:
    """Seconds until the map can be used, and megabytes that came."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=list(ARGUMENTS))
        page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        came = [0.0]
        wire = page.context.new_cdp_session(page)
        wire.send("Network.enable")
        wire.on("Network.loadingFinished", lambda told: came.append(told["encodedDataLength"]))
        page.goto(f"{site}/map/", wait_until="commit")
        frame = page.frame_locator("iframe")
        drawn = frame.locator("html[data-places]")
        drawn.wait_for(state="attached")
        frame.locator(FIRST_MARK).first.press("Shift")
        seconds = page.evaluate("performance.now()") / 1000
        shown = int(drawn.get_attribute("data-places") or 0)
        page.wait_for_load_state("networkidle")
        browser.close()
    if shown < PLACES:
        raise RuntimeError(f"only {shown} places are on the map")
    return seconds, sum(came) / 1e6
