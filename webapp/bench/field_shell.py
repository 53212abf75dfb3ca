"""What a first visit to the phone's shell transfers: its files, and every byte on the wire."""

from __future__ import annotations

from pathlib import Path

from . import field_office, field_phone

TARGET_KB = 90.0


def files_kb() -> float:
    """Compressed KB of all the shell's files, without a browser."""
    from ..pages import phone_files

    return phone_files.build(phone_files.FOLDER).gz_bytes() / 1024


def measure(estate: Path, folder: Path) -> dict[str, float]:
    """``files_kb`` summed from the build; ``page_kb`` as the browser counts the page's own requests; ``wire_kb`` everything that came down,
    the worker's requests and all headers included, until the shell is kept for offline use."""
    with field_phone.driver() as running, field_office.opened(estate) as (_, office), field_phone.profile(running, folder / "shell") as context:
        relay = field_phone.Relay(office.port)
        page = context.pages[0]
        session = field_phone.slow(page, cpu=1)
        sizes: list[float] = []
        session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
        page.goto(f"http://127.0.0.1:{relay.port}/field/")
        field_phone.settled(page)
        field_phone.kept(page)
        page.wait_for_timeout(500)
        wire = relay.down / 1024
        relay.cut()
    return {"met": wire <= TARGET_KB, "files_kb": files_kb(), "page_kb": sum(sizes) / 1024, "requests": float(len(sizes)), "wire_kb": wire, "wire_up_kb": relay.up / 1024, "target_kb": TARGET_KB}
