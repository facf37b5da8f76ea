"""The page's server: on this computer only, for whoever has the address with its token.

Every request must name this server as its host, come from its own page where a browser says
where it comes from, and, for the page and its stream, carry the token.
"""

import asyncio
import json
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable, MutableMapping
from contextlib import asynccontextmanager, suppress
from importlib import resources
from typing import Any

from legsim.tables import PHASES
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket, WebSocketDisconnect

from hocklift.benchpage import acts, people
from hocklift.benchpage.asks import ANYONE, ASKS, SIM_ONLY, MalformedError, read
from hocklift.benchpage.columns import COLUMNS, LEGS, TRACES
from hocklift.benchpage.live import Act, Live
from hocklift.benchpage.telling import settings, state
from hocklift.errors import HockliftError
from hocklift.pages.motion import shape
from hocklift.pages.page import LOOK
from hocklift.safety.cautions import BEFORE_MOTION

HOST = "127.0.0.1"
# A page that takes nothing for so many messages is let go; it comes back by itself.
BACKLOG_MOST = 500
REFUSALS_MOST = 50
# Of messages that are none, so many; then it is no page.
MALFORMED_MOST = 20
REFUSED_CODE, SLOW_CODE, MALFORMED_CODE = 4403, 4408, 1008
_STATIC = resources.files("hocklift.benchpage") / "static"

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]


def new_token() -> str:
    """A token that nobody guesses."""
    return secrets.token_urlsafe(24)


class Guard:
    """Lets through only what comes from this server's own page on this computer."""

    def __init__(self, app: App, port: int, token: str) -> None:
        self.app = app
        self.token = token
        self.hosts = {f"{HOST}:{port}", f"localhost:{port}"}
        self.headers = _headers(port)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with headers that keep the page to itself."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        why = self.wrong(scope)
        if why and scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": REFUSED_CODE, "reason": why})
            return

        async def send_marked(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *self.headers]
            await send(message)

        if why:
            await PlainTextResponse(f"hocklift: {why}\n", 403)(scope, receive, send_marked)
            return
        await self.app(scope, receive, send_marked)

    def wrong(self, scope: Scope) -> str:
        """Why a request is refused, or nothing."""
        found: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        host = found.get("host", [])
        if len(host) != 1 or host[0] not in self.hosts:
            return "this is no host of this server; use the address that it printed"
        origins = found.get("origin", [])
        own = origins == [f"http://{host[0]}"]
        if not own and (origins or scope["type"] == "websocket"):
            return "another page may not use this server"
        if scope["type"] == "websocket" or scope["path"] == "/":
            query = scope["query_string"].decode("latin-1")
            if not secrets.compare_digest(query.encode(), f"token={self.token}".encode()):
                return "the token is missing or wrong; use the whole address that was printed"
        return ""


def _headers(port: int) -> list[tuple[bytes, bytes]]:
    sockets = f"ws://{HOST}:{port} ws://localhost:{port}"
    policy = (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:;"
        f" connect-src 'self' {sockets}; base-uri 'none'; form-action 'none';"
        " frame-ancestors 'none'"
    )
    return [
        (b"content-security-policy", policy.encode()),
        (b"x-content-type-options", b"nosniff"),
        (b"referrer-policy", b"no-referrer"),
        (b"cross-origin-resource-policy", b"same-origin"),
        (b"cross-origin-opener-policy", b"same-origin"),
        (b"cache-control", b"no-store"),
    ]


class Page:
    """One page that is open, and what it has not been sent yet."""

    def __init__(self, socket: WebSocket) -> None:
        self.socket = socket
        self.backlog: asyncio.Queue[str | bytes] = asyncio.Queue(BACKLOG_MOST)
        self.slow = False
        # Kept, or it might be collected while it runs.
        self.acting: asyncio.Task[None] | None = None

    def tell(self, message: str | bytes) -> None:
        """Send it as soon as the page takes it."""
        try:
            self.backlog.put_nowait(message)
        except asyncio.QueueFull:
            self.slow = True

    async def send(self) -> None:
        """Send what there is, until the page is gone or far behind."""
        # Whoever listens to the page notices that it is gone.
        with suppress(WebSocketDisconnect, RuntimeError):
            while not self.slow:
                message = await self.backlog.get()
                if isinstance(message, bytes):
                    await self.socket.send_bytes(message)
                else:
                    await self.socket.send_text(message)
            await self.socket.close(SLOW_CODE, "this page does not keep up")


class Desk:
    """All open pages, and which of them is in charge."""

    def __init__(self, live: Live) -> None:
        self.live = live
        self.pages: list[Page] = []
        self.chief: Page | None = None
        self._sim = asyncio.Lock()

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        """From now on pages are told what the board says."""

        def tell(message: str | bytes) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(self.tell, message)

        self.live.tell = tell
        self.live.start()

    def tell(self, message: str | bytes) -> None:
        """Tell every page."""
        for page in self.pages:
            page.tell(message)

    async def serve(self, socket: WebSocket) -> None:
        """One page, from its coming to its going."""
        await socket.accept()
        page = Page(socket)
        page.tell(json.dumps(welcome(self.live)))
        page.tell(json.dumps(settings(self.live)))
        page.tell(json.dumps(state(self.live) | {"events": []}))
        self.pages.append(page)
        # The first page is in charge, unless something may be moving already.
        if self.chief is None and len(self.pages) == 1 and self.live.rests():
            self._give_charge(page)
        self._tell_charge()
        sending = asyncio.create_task(page.send())
        try:
            await self._listen(page)
        except WebSocketDisconnect:
            pass
        finally:
            sending.cancel()
            self.pages.remove(page)
            if self.chief is page:
                # Not `leave`: where anything may move, the board must notice.
                self.chief = None
                self.live.hold(False)
            self._tell_charge()

    def _give_charge(self, page: Page, *, even_armed: bool = False) -> None:
        self.chief = page
        self.live.hold(True, even_armed=even_armed)

    def _tell_charge(self) -> None:
        for page in self.pages:
            page.tell(
                json.dumps(
                    {
                        "kind": "charge",
                        "mine": page is self.chief,
                        "taken": self.chief is not None,
                        "pages": len(self.pages),
                    }
                )
            )

    async def _listen(self, page: Page) -> None:
        malformed = 0
        while malformed < MALFORMED_MOST:
            message = await page.socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            try:
                text = message.get("text")
                if text is None:
                    raise MalformedError("it is not text")
                word, asked = read(text)
            except MalformedError as error:
                malformed += 1
                _answer(page, "", False, f"Not understood: {error}.")
                continue
            self._do(page, word, asked)
            # Whoever says much at once does not keep others from being heard and told.
            await asyncio.sleep(0)
        await page.socket.close(MALFORMED_CODE, "this is no page")

    def _do(self, page: Page, word: str, asked: dict[str, Any]) -> None:
        who = ASKS[word].who
        live = self.live
        if who != ANYONE and page is not self.chief:
            _answer(page, word, False, "This page only watches: take charge first.")
        elif who == SIM_ONLY and live.people is None:
            _answer(page, word, False, "This is a real board: do it at the rig.")
        elif who == SIM_ONLY:
            page.acting = asyncio.create_task(self._act(page, word, asked))
        elif word == "beat":
            if page is self.chief:
                live.beat()
        elif word == "stop":
            live.stop()
        elif word == "take":
            self._take(page)
        elif word == "leave":
            self.chief = None
            live.leave()
            self._tell_charge()
        else:
            does: dict[str, Callable[[], Act]] = {
                "press": lambda: acts.press(live, asked["leg"], asked["on"]),
                "change": lambda: acts.change(live, asked["path"], asked["value"]),
                "undo": lambda: acts.undo(live),
                "keep": lambda: acts.keep(live),
                "record": lambda: acts.record(live, asked["on"]),
                "mark": lambda: acts.mark(live, asked["text"]),
            }
            loop = asyncio.get_running_loop()

            def answer(done: bool, words: str) -> None:
                if not loop.is_closed():
                    loop.call_soon_threadsafe(_answer, page, word, done, words)

            live.do(does[word](), answer)

    def _take(self, page: Page) -> None:
        if self.chief is None:
            self._give_charge(page, even_armed=True)
            self._tell_charge()
        elif self.chief is not page:
            _answer(page, "take", False, "Another page is in charge: it must let go first.")

    async def _act(self, page: Page, word: str, asked: dict[str, Any]) -> None:
        """Have something done at the simulated rig, which may take a while."""
        who = self.live.people
        assert who is not None
        async with self._sim:
            try:
                await asyncio.to_thread(people.ACTS[word], who, asked)
            except HockliftError as error:
                _answer(page, word, False, str(error))
                return
        _answer(page, word, True, "")


def _answer(page: Page, word: str, done: bool, words: str) -> None:
    # Whoever floods the bench need not hear of each time that it was too much.
    if not done and page.backlog.qsize() > REFUSALS_MOST:
        return
    page.tell(json.dumps({"kind": "answer", "to": word, "done": done, "words": words}))


def welcome(live: Live) -> dict[str, Any]:
    """What a page is told first: the rig's shape, the tables, what has happened so far."""
    rig = live.rig
    return {
        "kind": "welcome",
        "board": live.board,
        "cautions": BEFORE_MOTION,
        "columns": COLUMNS,
        "legs": LEGS,
        "traces": [trace._asdict() for trace in TRACES],
        "phases": [phase._asdict() for phase in PHASES],
        "host_s": rig.safety.host_time_s,
        "shape": shape(rig),
        "troubles": [
            {
                "name": one.name,
                "text": one.text,
                "leg": "{leg}" in one.place,
                "joint": "{joint}" in one.place,
            }
            for one in people.possible()
        ]
        if live.people is not None
        else [],
        "joints": people.JOINTS,
        "carried_kg": people.CARRIED_KG,
        "wearer_kg": people.WEARER_KG,
        "events": live.history.all(),
    }


def application(live: Live, port: int, token: str) -> Guard:
    """The whole server for a board, to be served on HOST at this port."""
    desk = Desk(live)

    async def page(_: Request) -> Response:
        return FileResponse(str(_STATIC / "bench.html"))

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        desk.begin(asyncio.get_running_loop())
        yield
        await asyncio.to_thread(live.close)

    async def stream(socket: WebSocket) -> None:
        await desk.serve(socket)

    app = Starlette(
        routes=[
            Route("/", page),
            WebSocketRoute("/stream", stream),
            Mount("/static", StaticFiles(directory=str(_STATIC))),
            # What this page shares with the reports: inks, and how legs are drawn.
            Mount("/look", StaticFiles(directory=str(LOOK))),
        ],
        lifespan=lifespan,
    )
    return Guard(app, port, token)
