"""A run: steps of the schedule made real one by one, then everything healed, then the oracle."""

from __future__ import annotations

import copy
import threading
import time
import traceback
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import TimeoutError as PlaywrightTimeout

from tests.browser.office import listening, wait_until

from . import schedule
from .ledger import Ledger, Verdict, judge
from .office import FaultyOffice
from .phones import Phone
from .road import PHOTOS, Fault, Roads
from .schedule import Step

EVERYWHERE = frozenset(schedule.WEIGHTS) - {"quota", "wipe", "tabs", "tabs_unlocked", "update", "browser_killed"}
FULL_RUN = 150
"""From so many faults on, a kind that never came about is a failure: it would be claimed and not tried."""
ROUNDS = 60
HUNG_S = 90
BACKUP_EVERY = 20


@dataclass
class Report:
    engine: str
    seed: int
    happened: Counter
    missed: Counter
    steps: int
    seconds: float
    verdict: Verdict | None
    took: Counter
    failure: str = ""
    hung: int = 0

    @property
    def clean(self) -> bool:
        return not self.failure and self.verdict is not None and self.verdict.clean

    def text(self) -> str:
        total = sum(self.happened.values())
        lines = [f"{self.engine}: seed {self.seed}, {total} faults in {self.steps} steps, {self.seconds:.0f} s"]
        names = sorted(self.happened | self.missed)
        lines += [f"  {name:<20}{self.happened[name]:>6}{self.took[name]:>8.1f} s" + (f"   ({self.missed[name]} did not come about)" if self.missed[name] else "") for name in names]
        if self.hung:
            lines.append(f"  ({self.hung} times the browser's automation did not answer, and the browser was killed and opened again)")
        lines.append(self.verdict.text() if self.verdict else "no verdict")
        if self.failure:
            lines.append(self.failure)
        return "\n".join(lines)


class Stuck(Exception):
    """The automation stands in the way; nothing is said about the product."""


class Run:
    """One office, some phones each behind its own road, one ledger."""

    def __init__(self, make_phone, phones: int, folder: Path, spoil: str = "") -> None:
        self.office = FaultyOffice(folder, spoil).start()
        self.roads, self.ledger = Roads(), Ledger()
        self.happened, self.missed, self.took = Counter(), Counter(), Counter()
        self.hung = 0
        self.phones: list[Phone] = []
        self.mine: dict[int, list[str]] = {}
        self.forged_at: dict[Path, set[str]] = {}
        for build in self.office.made:
            self.roads.keep_modules(build)
        for number in range(phones):
            phone = make_phone(number, self.roads.open(self.office.port), self.office, folder)
            self.phones.append(phone)
            self.mine[number] = []
            phone.first_time()
        self.take_backup()

    def close(self) -> None:
        for phone in self.phones:
            phone.close()
        self.office.close()
        self.roads.close()

    # --- what every step does --------------------------------------------------------------------------

    def save(self, phone: Phone, drafts: list[dict]) -> list[dict]:
        """Save and write down what the phone said it saved; [] when it said it could not."""
        saved = phone.call("save", drafts)
        if isinstance(saved, dict):
            return []
        for entry in saved:
            self.ledger.save(entry["id"], entry["bytes"].encode())
            self.mine[phone.number].append(entry["id"])
            if entry["digest"]:
                self.ledger.photos[entry["digest"]] = True
        return saved

    def heard(self, told: dict) -> dict:
        """Write down the receipts a phone has; an answer "enrol again" is obeyed by whoever asked."""
        assert "error" not in told, told
        self.ledger.acked |= set(told["acked"])
        return told

    def send(self, phone: Phone) -> dict:
        told = self.heard(phone.call("send"))
        if told["enrol"]:
            phone.enrol()
        return told

    def send_into(self, phone: Phone, fault: Fault) -> dict:
        """Send until the armed fault was met (the page's own sender may have been quicker than ours)."""
        phone.road.arm(fault)
        for _ in range(3):
            told = self.send(phone)
            if fault.happened.is_set() or not told["unsent"]:
                break
        phone.road.disarm()
        return told

    def heal(self, phone: Phone) -> dict:
        """No more faults: send until nothing waits."""
        phone.road.disarm()
        for n in range(ROUNDS):
            told = self.send(phone)
            if not told["unsent"] and not told["enrol"]:
                return told
            time.sleep(0.05 * min(n, 10))
        return told

    def take_backup(self) -> None:
        self.forged_at[self.office.backup()] = set(self.ledger.forged)

    def only_newer_backups(self) -> None:
        """A backup that lacks acknowledged records of a phone which lost them since must not come back: then nobody has them
        any more, and no protocol can bring them again. (It is what the office is told too: take a backup after a phone was lost.)"""
        self.office.backups.clear()
        self.take_backup()

    def perform(self, step: Step) -> None:
        phone, rng = self.phones[step.phone], step.rng()
        if step.number % BACKUP_EVERY == BACKUP_EVERY - 1:
            self.take_backup()
        if step.number % 3 == 0:
            phone.road.deliver_kept()
        started = time.monotonic()
        came_about = self.watched(phone, lambda: getattr(self, f"do_{step.kind}", self.on_road)(step, phone, rng), step)
        (self.happened if came_about else self.missed)[step.kind] += 1
        self.took[step.kind] += time.monotonic() - started
        if time.monotonic() - started > 20:
            print(f"  {step} took {time.monotonic() - started:.0f} s", flush=True)

    def watched(self, phone: Phone, work, what):
        """``work()``; when the automation's answer never comes, the browser is killed and opened again, and it did not come about.

        Playwright stops every service worker as it starts, to attach to it, and now and then forgets to let one go on: then a new
        release waits for ever and a page that the worker should serve never loads. The report says how often. A page whose sender hangs tells so itself, sooner (``SendNeverEnded``), and that is a failure.
        """
        guard = threading.Timer(HUNG_S, phone.abandon)
        guard.start()
        try:
            return work()
        except Exception as error:
            if not phone.abandoned and not isinstance(error, (Stuck, PlaywrightTimeout)):
                raise
            print(f"  {what}: the automation did not answer ({type(error).__name__}: {str(error)[:200]}); the browser was killed and opened again", flush=True)
            self.hung += 1
            if not self.office.up:
                self.office.start()
            elif self.office.dead():
                self.office.revive()
            self.office.full(False)
            self.office.order(refuse="")
            phone.road.disarm()
            phone.kill()
            phone.abandoned = False
            phone.back()
            phone.ensure()
            for entry in phone.call("everything")["records"]:  # a save whose answer was never heard
                self.ledger.save(entry["id"], entry["bytes"].encode())
            return False
        finally:
            guard.cancel()

    # --- on the road -----------------------------------------------------------------------------------

    def on_road(self, step: Step, phone: Phone, rng) -> bool:
        fault = Fault(step.kind, number=rng.random() * (0.3 if step.kind == "slow" else 1))
        self.save(phone, schedule.drafts(rng, self.mine[phone.number], 12 if rng.random() < 0.95 else 80))
        self.send_into(phone, fault)
        return fault.happened.is_set()

    def do_busy(self, step: Step, phone: Phone, rng) -> bool:
        fault = Fault("busy", number=rng.randint(20, 90))
        self.save(phone, schedule.drafts(rng, self.mine[phone.number]))
        told = self.send_into(phone, fault)
        if not fault.happened.is_set() or told["outcome"] != "server":
            return False
        assert told["wait_ms"] > fault.number * 500, f"Retry-After {fault.number} s, but the phone waits {told['wait_ms']} ms"
        return True

    def do_late_replay(self, step: Step, phone: Phone, rng) -> bool:
        self.save(phone, schedule.drafts(rng, self.mine[phone.number], 3))
        self.send(phone)
        return phone.road.deliver(rng.choice(phone.road.history)) == 200

    def do_forged(self, step: Step, phone: Phone, rng) -> bool:
        from .road import altered
        from webapp.survey.batch import parsed

        head, body = rng.choice(phone.road.history)
        changed = altered(body)
        if changed is None:
            return False
        identifier = next(a["id"] for a, b in zip(parsed(body)[1], parsed(changed)[1]) if a != b)
        if not self.office.query("SELECT 1 FROM record WHERE id = ?", [identifier]):
            return False
        status, _ = phone.road.forge((head, body))
        if status == 200:
            self.ledger.forged.add(identifier)
        return status == 200

    def do_photo(self, step: Step, phone: Phone, rng) -> bool:
        fault = Fault(rng.choice(schedule.PHOTO_FAULTS), target=PHOTOS, number=rng.uniform(0.1, 0.9))
        drafts = schedule.drafts(rng, self.mine[phone.number], 3)
        self.save(phone, [*drafts, {"kind": "photo", "plot": "VS-01", "id": new_id(rng), "photo": {"size": rng.randint(4_000, 60_000), "seed": rng.getrandbits(31)}}])
        self.send_into(phone, fault)
        return fault.happened.is_set()

    # --- at the office ---------------------------------------------------------------------------------

    def killed(self, phone: Phone, rng, **order) -> bool:
        self.save(phone, schedule.drafts(rng, self.mine[phone.number], 30, 3))
        self.office.order(**order)
        phone.call("kick")
        deadline = time.monotonic() + 10
        while not self.office.dead():
            if time.monotonic() > deadline:
                self.office.withdraw()
                return False
            time.sleep(0.02)
        self.office.revive()
        return True

    def do_killed_in_batch(self, step: Step, phone: Phone, rng) -> bool:
        return self.killed(phone, rng, kill_at=rng.randint(1, 9))

    def do_killed_before_reply(self, step: Step, phone: Phone, rng) -> bool:
        return self.killed(phone, rng, kill_after=True)

    def do_full(self, step: Step, phone: Phone, rng) -> bool:
        watch = Fault("watch")
        self.save(phone, schedule.drafts(rng, self.mine[phone.number], 14, 14, words=220))
        self.office.full(True)
        try:
            self.send_into(phone, watch)
        finally:
            self.office.full(False)
        return watch.status == 507

    def do_refused(self, step: Step, phone: Phone, rng) -> bool:
        """One record that the server can't take, among others: halving finds it and the others arrive."""
        saved = self.save(phone, schedule.drafts(rng, self.mine[phone.number], 16, 5))
        self.office.order(refuse=rng.choice(saved)["id"])
        told = self.send(phone)
        if told["outcome"] == "idle" or self.office.withdraw():
            return False
        for _ in range(10):
            if told["unsent"] <= 1:
                break
            told = self.send(phone)
        self.office.order(refuse="")
        assert told["unsent"] == 1, f"one record is refused, and {told['unsent']} wait"
        self.send(phone)
        return True

    def do_restored(self, step: Step, phone: Phone, rng) -> bool:
        source = rng.choice(self.office.backups)
        self.office.restore(source)
        self.ledger.forged = set(self.forged_at[source])
        self.save(phone, schedule.drafts(rng, self.mine[phone.number], 3))
        self.send(phone)
        return True

    # --- on the phone ----------------------------------------------------------------------------------

    def do_clock_jump(self, step: Step, phone: Phone, rng) -> bool:
        phone.clock(schedule.clock_shift_ms(rng))
        self.save(phone, schedule.drafts(rng, self.mine[phone.number]))
        self.send(phone)
        return True

    def do_quota(self, step: Step, phone: Phone, rng) -> bool:
        """No room for a record, nor for a receipt. Photos that the office has are given up first, so no backup may lack them, nor the
        office of now: before it is full the phone hears of any restore (with nothing to send it asks only now and then)."""
        self.save(phone, schedule.drafts(rng, self.mine[phone.number], 2))
        self.heal(phone)
        self.save(phone, schedule.drafts(rng, self.mine[phone.number], 4))
        lift = phone.no_room()
        refused = not self.save(phone, schedule.drafts(rng, self.mine[phone.number], 6, 2, words=200))
        told = self.send(phone)
        refused &= not told["unsent"] or told["outcome"] == "store"  # a receipt could not be written either
        lift()
        self.heal(phone)
        self.only_newer_backups()
        return refused

    def do_wipe(self, step: Step, phone: Phone, rng) -> bool:
        """Storage gone under the page. First the phone hears of any restore: what it alone could bring again must not go with it."""
        self.save(phone, schedule.drafts(rng, self.mine[phone.number]))
        self.heal(phone)
        self.save(phone, schedule.drafts(rng, self.mine[phone.number]))
        inside = phone.call("everything")
        self.ledger.acked |= {entry["id"] for entry in inside["records"] if entry["state"] != "unsent"}
        self.ledger.excuse(entry["id"] for entry in inside["records"])
        for photo in inside["photos"]:
            if photo["state"] == "unsent":
                self.ledger.photos[photo["digest"]] = False
        self.only_newer_backups()  # said before: should the browser die in what follows, the phone is empty all the same
        phone.wipe()
        self.mine[phone.number].clear()
        phone.reload()
        left = phone.call("everything")
        phone.enrol()
        self.only_newer_backups()
        return not set(map(lambda entry: entry["id"], left["records"]))

    def tabs(self, phone: Phone, rng, unlocked: bool) -> bool:
        other = copy.copy(phone)
        other.page = phone.tab(unlocked)
        try:
            other.goto()
            for one in (phone, other):
                self.save(one, schedule.drafts(rng, self.mine[phone.number], 20))
            for one in (phone, other, phone):
                one.call("kick")
            self.send(other)
        finally:
            other.page.close()
        self.send(phone)
        return True

    def do_tabs(self, step: Step, phone: Phone, rng) -> bool:
        return self.tabs(phone, rng, False)

    def do_tabs_unlocked(self, step: Step, phone: Phone, rng) -> bool:
        return self.tabs(phone, rng, True)

    def do_update(self, step: Step, phone: Phone, rng) -> bool:
        """A new release is taken while a batch is under way: the page reloads itself in the middle of it."""
        coming = self.office.serve_other_release(phone.build())
        if phone.call("lookForUpdate") is not True:
            return False
        self.save(phone, schedule.drafts(rng, self.mine[phone.number]))
        slow = phone.road.arm(Fault("slow", number=0.4))
        phone.call("takeUpdate")
        try:
            wait_until(lambda: phone.build() == coming, "the page runs the new release", 20)
        except AssertionError:
            raise Stuck(f"update not taken within 20 s: wanted {coming}, {phone.call('workers')}") from None
        time.sleep(0 if slow.happened.is_set() else 0.5)
        phone.road.disarm()
        return slow.happened.is_set()

    def do_browser_killed(self, step: Step, phone: Phone, rng) -> bool:
        """SIGKILL while a batch is under way and another save has begun."""
        self.save(phone, schedule.drafts(rng, self.mine[phone.number]))
        begun = [{**draft, "id": new_id(rng)} for draft in schedule.drafts(rng, self.mine[phone.number])]
        self.ledger.begun |= {draft["id"] for draft in begun}
        phone.road.arm(Fault("slow", number=0.3))
        phone.call("kick")
        phone.evaluate("(given) => { faults.save(given); return true; }", begun)
        time.sleep(rng.random() * 0.3)
        phone.kill()
        phone.road.disarm()
        phone.open()
        phone.goto()
        phone.ensure()
        inside = phone.call("everything")
        for entry in inside["records"]:
            if entry["id"] in self.ledger.begun:
                self.ledger.save(entry["id"], entry["bytes"].encode())
        return True

    # --- the end ---------------------------------------------------------------------------------------

    def finish(self) -> Verdict:
        """Heal, send until nothing waits, let what was held back arrive late, and ask the oracle."""
        assert listening(self.office.port)
        self.office.full(False)
        self.office.order(refuse="")
        for phone in self.phones:
            phone.road.deliver_kept()
        unsent = 0
        for phone in self.phones:
            self.watched(phone, phone.reload, "opening again")  # as next morning: it asks the office which store it has
            self.watched(phone, lambda: self.heal(phone), "healing")
        for phone in self.phones:
            phone.road.deliver_kept()
            for request in phone.road.history[::37]:
                phone.road.deliver(request)
            unsent += self.heal(phone)["unsent"]
        return judge(self.ledger, self.office.found(), unsent)


def new_id(rng) -> str:
    from uuid import UUID

    return str(UUID(int=(rng.getrandbits(128) & ~(0xf << 76) & ~(0x3 << 62)) | (7 << 76) | (2 << 62)))


def execute(engine: str, make_phone, faults: int, seed: int, phones: int, folder: Path, kinds: frozenset[str], spoil: str = "", say=lambda words: None) -> Report:
    """Perform steps until ``faults`` have really happened, then judge."""
    started = time.monotonic()
    run, verdict, failure, step = None, None, "", None
    run = Run(make_phone, phones, folder, spoil)
    try:
        for step in schedule.steps(seed, phones, kinds):
            run.perform(step)
            if step.number % 50 == 49:
                say(f"  step {step.number + 1}: {sum(run.happened.values())} faults, {time.monotonic() - started:.0f} s")
            if sum(run.happened.values()) >= faults:
                break
        verdict = run.finish()
        untried = sorted(kind for kind in kinds if not run.happened[kind])
        if untried and faults >= FULL_RUN:
            failure = f"FAILED: never came about: {', '.join(untried)}"
    except Exception:
        failure = f"FAILED at seed {seed}, step {step}\n{traceback.format_exc()}"
    finally:
        run.close()
    return Report(engine, seed, run.happened, run.missed, (step.number + 1) if step else 0, time.monotonic() - started, verdict, run.took, failure, run.hung)
