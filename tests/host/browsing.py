"""Chromium as Debian has it, for pages: nothing leaves this computer, axe-core looks on."""

import contextlib
import os
from pathlib import Path
from urllib.parse import urlsplit

import pytest

CHROMIUM = Path("/usr/bin/chromium")
AXE = Path(os.environ.get("AXE_CORE", "node_modules/axe-core/axe.min.js"))
# It looks nothing up and fetches nothing for itself.
_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)
LOOPBACK = {"127.0.0.1", None}


@contextlib.contextmanager
def chromium():
    """A browser, or a skipped test that says what to install."""
    if not CHROMIUM.exists():
        pytest.skip(f"no {CHROMIUM}: install Debian's package chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(_FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@contextlib.contextmanager
def opened(browser, address, **context):
    """A page, which must ask nobody but this computer for anything and fail at nothing."""
    asked, wrong = [], []
    made = browser.new_context(**context)
    page = made.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("websocket", lambda socket: asked.append(socket.url))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "console", lambda said: wrong.append(said.text) if said.type in ("error", "warning") else 0
    )
    page.goto(address)
    try:
        yield page
    finally:
        made.close()
    assert asked
    outside = [url for url in asked if urlsplit(url).hostname not in LOOPBACK]
    assert not outside
    assert not wrong


def violations(page):
    """What axe-core, the accessibility checker of Deque Systems, finds serious or worse."""
    if not AXE.exists():
        pytest.skip(f"no {AXE}: `npm install axe-core`, or name its axe.min.js in AXE_CORE")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run()")
    assert len(found["passes"]) > 10
    return [
        (one["id"], [node["html"][:120] for node in one["nodes"]])
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
