"""The road between one phone and the office: a proxy of ours on loopback that loses, doubles, cuts, delays and alters.

The phone's address is the road's, so the office can die and come back while the origin stays. A fault is armed for
the next POST of its kind and counts only once it really happened.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import re
import threading
from dataclasses import dataclass, field

RECORDS, PHOTOS = "/field/records", "/field/photos/"
PORTAL = b"<!doctype html><title>Wi-Fi</title><p>Bienvenido. Acepte las condiciones."
_LETTERS = re.compile(rb'"text":"[a-z ]*?([a-z]{3})')
HISTORY = 300


@dataclass
class Fault:
    """``how`` names a method of ``Road``; ``happened`` is told by the road, ``status`` is what the office said, if it was asked."""

    how: str
    target: str = RECORDS
    number: float = 0.5
    happened: threading.Event = field(default_factory=threading.Event)
    status: int = 0


def digest_header(body: bytes) -> bytes:
    return b"sha-256=:" + base64.b64encode(hashlib.sha256(body).digest()) + b":"


def altered(body: bytes) -> bytes | None:
    """The body with one letter of one record's text changed: still readable JSON, still a good record."""
    found = list(_LETTERS.finditer(body))
    if not found:
        return None
    at = found[len(found) // 2].start(1)
    return body[:at] + (b"x" if body[at:at + 1] != b"x" else b"y") + body[at + 1:]


def with_header(head: bytes, name: bytes, value: bytes) -> bytes:
    """The head of a request with that header set."""
    lines = [line for line in head.split(b"\r\n") if line and not line.lower().startswith(name.lower() + b":")]
    return b"\r\n".join([*lines, name + b": " + value]) + b"\r\n\r\n"


def status_of(reply: bytes) -> int:
    return int(reply[9:12]) if reply[:5] == b"HTTP/" else 0


def answer(status: str, media: str, body: bytes, *more: str) -> bytes:
    head = "\r\n".join([f"HTTP/1.1 {status}", f"Content-Type: {media}", f"Content-Length: {len(body)}", "Connection: close", *more])
    return head.encode() + b"\r\n\r\n" + body


class Roads:
    """One event loop in a thread for all the roads of a run."""

    def __init__(self) -> None:
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()
        self.opened: list[Road] = []
        self.files: dict[str, bytes] = {}

    def run(self, work, patience_s: float = 60):
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(patience_s)

    def keep_modules(self, build) -> None:
        """The modules that the harness drives, of a release that the office may no longer serve: what a browser's own cache of these
        unchanging addresses holds. The page's own files are not among them."""
        for name, body in build.files.items():
            if name.endswith(".js") and name != "app.js":
                self.files[f"/s/{build.name}/{name}"] = answer("200 OK", "text/javascript; charset=utf-8", body, "Cache-Control: public, max-age=31536000, immutable")

    async def cancel_rest(self) -> None:
        rest = asyncio.all_tasks() - {asyncio.current_task()}
        for task in rest:
            task.cancel()
        await asyncio.gather(*rest, return_exceptions=True)

    def open(self, office_port: int) -> "Road":
        road = Road(self, office_port)
        self.run(road.listen())
        self.opened.append(road)
        return road

    def close(self) -> None:
        for road in self.opened:
            self.run(road.stop_listening())
        self.run(self.cancel_rest())
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(10)


class Road:
    def __init__(self, roads: Roads, office_port: int) -> None:
        self.roads, self.office_port, self.server, self.port = roads, office_port, None, 0
        self.armed: list[Fault] = []
        self.history: list[tuple[bytes, bytes]] = []  # requests with records, as they came from the phone
        self.kept: list[tuple[bytes, bytes]] = []  # lost on the way, to arrive later
        self.files = roads.files
        self.posts = 0
        self.tasks: set[asyncio.Task] = set()  # held here, or a waiting one may be collected

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    async def listen(self) -> None:
        self.server = await asyncio.start_server(self.serve, "127.0.0.1", self.port, limit=1 << 20)
        self.port = self.server.sockets[0].getsockname()[1]

    async def stop_listening(self) -> None:
        if self.server:
            self.server.close()
            self.server = None

    def arm(self, fault: Fault) -> Fault:
        self.armed.append(fault)
        return fault

    def disarm(self) -> None:
        self.armed.clear()

    # --- one request -----------------------------------------------------------------------------------

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        self.tasks.add(task)
        task.add_done_callback(self.tasks.discard)
        with contextlib.suppress(OSError, asyncio.IncompleteReadError, asyncio.LimitOverrunError):
            head = await reader.readuntil(b"\r\n\r\n")
            length = re.search(rb"(?i)\r\ncontent-length: *(\d+)", head)
            body = await reader.readexactly(int(length[1])) if length else b""
            reply = await self.judge(head, body)
            if reply is not None:
                writer.write(reply)
                await writer.drain()
        writer.close()

    async def judge(self, head: bytes, body: bytes) -> bytes | None:
        method, target, _ = head.split(b" ", 2)
        path = target.decode()
        if method == b"GET" and path.startswith("/s/"):  # addresses that never change: a browser keeps them too
            if path not in self.files:
                reply = await self.forward(head, body)
                if status_of(reply) != 200:
                    return reply
                self.files[path] = reply
            return self.files[path]
        if method == b"POST" and path == RECORDS:
            self.posts += 1
            self.history = [*self.history[-HISTORY:], (head, body)]
        fault = next((one for one in self.armed if method == b"POST" and path.startswith(one.target)), None)
        if fault is None:
            return await self.forward(head, body)
        self.armed.remove(fault)
        return await getattr(self, fault.how)(fault, head, body)

    async def forward(self, head: bytes, body: bytes) -> bytes:
        """What the office answers, or b"" when nobody does; half an answer when it dies in the middle."""
        reply = b""
        with contextlib.suppress(OSError):
            reader, writer = await asyncio.open_connection("127.0.0.1", self.office_port)
            try:
                writer.write(with_header(head, b"Connection", b"close") + body)
                await writer.drain()
                while part := await reader.read(1 << 16):
                    reply += part
            finally:
                writer.close()
        return reply

    # --- faults ----------------------------------------------------------------------------------------

    async def watch(self, fault, head, body):
        """No fault of the road's: only notes that the request passed, and what the office said to it."""
        reply = await self.forward(head, body)
        fault.status = status_of(reply)
        fault.happened.set()
        return reply

    async def lost_request(self, fault, head, body):
        fault.happened.set()

    async def lost_reply(self, fault, head, body):
        fault.status = status_of(await self.forward(head, body))
        fault.happened.set()

    async def double(self, fault, head, body):
        first, second = await asyncio.gather(self.forward(head, body), self.forward(head, body))
        fault.happened.set()
        return first if fault.number < 0.5 else second

    async def cut_reply(self, fault, head, body):
        reply = await self.forward(head, body)
        fault.happened.set()
        return reply[:max(1, int(len(reply) * fault.number))]

    async def cut_request(self, fault, head, body):
        """Either the line breaks in the middle of the body, or something on the way passes a shorter body as if it were whole."""
        part = body[:max(1, int(len(body) * fault.number))]
        if fault.number < 0.5:
            with contextlib.suppress(OSError):
                _, writer = await asyncio.open_connection("127.0.0.1", self.office_port)
                writer.write(head + part)
                await writer.drain()
                writer.close()
            fault.happened.set()
            return None
        reply = await self.forward(with_header(head, b"Content-Length", str(len(part)).encode()), part)
        fault.status = status_of(reply)
        fault.happened.set()
        return reply

    async def held_back(self, fault, head, body):
        self.kept.append((head, body))
        fault.happened.set()

    async def slow(self, fault, head, body):
        await asyncio.sleep(fault.number)
        fault.happened.set()
        return await self.forward(head, body)

    async def flip_request(self, fault, head, body):
        changed = altered(body)
        if changed is None:
            return await self.forward(head, body)
        reply = await self.forward(head, changed)
        fault.status = status_of(reply)
        fault.happened.set()
        return reply

    async def flip_photo(self, fault, head, body):
        at = int(len(body) * fault.number)
        reply = await self.forward(head, body[:at] + bytes([body[at] ^ 1]) + body[at + 1:])
        fault.status = status_of(reply)
        fault.happened.set()
        return reply

    async def flip_reply(self, fault, head, body):
        """One hexadecimal digit of one receipt's identifier, or one letter of its status."""
        reply = await self.forward(head, body)
        found = list(re.finditer(rb'"id": ?"[0-9a-f-]{35}(.)' if fault.number < 0.5 else rb'"status": ?"(.)', reply))
        if not found:
            return reply
        at = found[int(len(found) * fault.number)].start(1)
        fault.happened.set()
        return reply[:at] + (b"0" if reply[at:at + 1] != b"0" else b"1") + reply[at + 1:]

    async def busy(self, fault, head, body):
        fault.happened.set()
        return answer("503 Service Unavailable", "application/problem+json", b'{"status": 503}', f"Retry-After: {int(fault.number)}")

    async def portal(self, fault, head, body):
        fault.happened.set()
        if fault.number < 0.34:
            return answer("200 OK", "text/html", PORTAL)
        if fault.number < 0.67:
            return answer("200 OK", "application/json", b'{"status": "ok"}')
        return answer("302 Found", "text/html", PORTAL, "Location: /field/manifest.webmanifest")

    # --- without the phone -----------------------------------------------------------------------------

    def deliver(self, request: tuple[bytes, bytes]) -> int:
        """An old request arrives at the office now; its answer reaches nobody. Returns the status."""
        return status_of(self.roads.run(self.forward(*request)))

    def deliver_kept(self) -> int:
        waiting, self.kept = self.kept, []
        return sum(self.deliver(request) > 0 for request in reversed(waiting))

    def forge(self, request: tuple[bytes, bytes]) -> tuple[int, bytes | None]:
        """An old request arrives with one record's text changed, under the right digest of those bytes: a second record of the same identifier."""
        head, body = request
        changed = altered(body)
        if changed is None:
            return 0, None
        return status_of(self.roads.run(self.forward(with_header(head, b"Content-Digest", digest_header(changed)), changed))), changed
