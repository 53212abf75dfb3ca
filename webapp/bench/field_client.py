"""A light client of many phones in a process of its own: every request begun at once, every reply kept for checking.

``python -m webapp.bench.field_client PORT FOLDER`` sends FOLDER/*.request (whole HTTP requests) over one
connection each, writes FOLDER/*.reply and prints one line of JSON. Nothing is read or judged while the
clock runs but the length of each reply, so that the client's own work does not count as the server's.
"""

from __future__ import annotations

import json
import selectors
import socket
import sys
import time
from pathlib import Path

LONGEST_S = 120.0
READ = 65_536


class Sending:
    """One request on its way: what is left to send, what came back, when it was done (s)."""

    def __init__(self, name: str, request: bytes) -> None:
        self.name, self.left, self.got, self.end, self.done_s = name, memoryview(request), bytearray(), None, None
        self.socket = socket.socket()
        self.socket.setblocking(False)

    def finished(self) -> bool:
        """Whether the whole reply is there, by its Content-Length."""
        if self.end is None:
            head = self.got.find(b"\r\n\r\n")
            if head < 0:
                return False
            at = self.got.lower().find(b"content-length:", 0, head)
            if at < 0:
                return False
            self.end = head + 4 + int(self.got[at + 15: self.got.find(b"\r", at)])
        return len(self.got) >= self.end


def run(port: int, requests: dict[str, bytes]) -> tuple[list[Sending], float, int]:
    """(the sendings, seconds to the last reply, most that were under way at once)."""
    ring = selectors.DefaultSelector()
    sendings = [Sending(name, body) for name, body in requests.items()]
    under_way = most = 0
    started = time.perf_counter()
    for one in sendings:
        one.socket.connect_ex(("127.0.0.1", port))
        ring.register(one.socket, selectors.EVENT_WRITE, one)
    open_ones = len(sendings)
    while open_ones and time.perf_counter() - started < LONGEST_S:
        for key, mask in ring.select(1.0):
            one = key.data
            try:
                if mask & selectors.EVENT_WRITE:
                    one.left = one.left[one.socket.send(one.left):]
                    if not one.left:
                        ring.modify(one.socket, selectors.EVENT_READ, one)
                        under_way += 1
                        most = max(most, under_way)
                    continue
                piece = one.socket.recv(READ)
            except BlockingIOError:
                continue
            except OSError:
                piece = b""
            one.got += piece
            if not piece or one.finished():
                one.done_s = time.perf_counter() - started
                ring.unregister(one.socket)
                one.socket.close()
                open_ones -= 1
                under_way -= not one.left
    return sendings, time.perf_counter() - started, most


def main(port: int, folder: Path) -> None:
    requests = {path.stem: path.read_bytes() for path in sorted(folder.glob("*.request"))}
    sendings, seconds, most = run(port, requests)
    for one in sendings:
        (folder / f"{one.name}.reply").write_bytes(one.got)
    print(json.dumps({"last_s": seconds, "most_at_once": most, "each_s": [one.done_s for one in sendings]}))


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
