"""`hocklift bench`: a page in the browser on this computer, with the board live on it."""

import argparse
import socket
import webbrowser
from contextlib import suppress
from functools import partial
from pathlib import Path

from rich.console import Console

from hocklift.benchpage.asks import BYTES_MOST
from hocklift.rigfile.file import rig_or_demo
from hocklift.safety.cautions import before_motion
from hocklift.transport import SIM, open_port


def run(args: argparse.Namespace) -> int:
    """Serve the page until Ctrl-C; 0."""
    # Heavy, and needed by nothing else.
    import uvicorn

    from hocklift.benchpage.live import Live
    from hocklift.benchpage.server import HOST, application, new_token

    rig, _ = rig_or_demo(args.rig)
    console = Console()
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    if args.port != SIM:
        say(before_motion())
    live = Live(
        lambda: open_port(args.port, rig, seed=args.seed, realtime=True),
        rig,
        None if args.rig is None else rig,
        Path.cwd(),
    )
    with socket.create_server((HOST, 0)) as server:
        port = server.getsockname()[1]
        token = new_token()
        address = f"http://{HOST}:{port}/?token={token}"
        say(f"The bench is open at {address}")
        say("Whoever has this address may use it, on this computer only. Ctrl-C ends it.")
        if not args.no_open:
            webbrowser.open(address)
        config = uvicorn.Config(
            application(live, port, token),
            log_level="warning",
            ws_max_size=BYTES_MOST,
            ws_per_message_deflate=False,
            server_header=False,
            timeout_graceful_shutdown=1,
        )
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[server])
    live.close()
    return 0
