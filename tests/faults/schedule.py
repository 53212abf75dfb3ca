"""Which fault, on which phone, with which records: drawn from the seed alone, before anything has happened."""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import Iterator

WEIGHTS = {
    # on the road
    "lost_request": 80, "lost_reply": 90, "double": 70, "cut_reply": 80, "cut_request": 70, "held_back": 60, "late_replay": 90, "slow": 25,
    "flip_request": 60, "flip_reply": 50, "busy": 40, "portal": 50, "forged": 25, "photo": 60,
    # at the office
    "killed_in_batch": 40, "killed_before_reply": 30, "full": 30, "refused": 25, "restored": 15,
    # on the phone
    "clock_jump": 60, "quota": 15, "wipe": 8, "tabs": 20, "tabs_unlocked": 12, "update": 8, "browser_killed": 12,
}
"""Kind → how often; each is drawn once before any is drawn twice."""
WORDS = "agua brecha piedra portón seco verde marcada hilera lindero tierra camión coa penca sol cerca norte sur alto bajo loma".split()
PLAIN = [word for word in WORDS if word.isascii()]
ENDINGS = ("", "ñandú", "«sí»", "🌵", "a\nb")
PLOTS = ("VS-01", "VS-02", "LA-03")
HOUR_MS = 3_600_000
PHOTO_FAULTS = ("lost_request", "lost_reply", "cut_reply", "flip_photo", "busy", "double")


@dataclass(frozen=True)
class Step:
    number: int
    kind: str
    phone: int
    seed: int

    def rng(self) -> random.Random:
        """Everything else about the step."""
        return random.Random(self.seed)


def steps(seed: int, phones: int, kinds: frozenset[str]) -> Iterator[Step]:
    """Without end; the same for the same seed, phones and kinds."""
    rng = random.Random(f"{seed}/{phones}/{','.join(sorted(kinds))}")
    names = [kind for kind in WEIGHTS if kind in kinds]
    first = names[:]
    rng.shuffle(first)
    number = 0
    while True:
        kind = first.pop() if first else rng.choices(names, [WEIGHTS[name] for name in names])[0]
        yield Step(number, kind, rng.randrange(phones), rng.getrandbits(48))
        number += 1


def text(rng: random.Random, words: int) -> str:
    return " ".join([*(rng.choice(PLAIN) for _ in range(words)), rng.choice(ENDINGS)]).strip()


def drafts(rng: random.Random, mine: list[str], most: int = 12, least: int = 1, words: int = 6) -> list[dict]:
    """Records to save: a remark first (its text is what a flipped byte changes), then of every kind, some voiding or correcting ``mine``."""
    out = []
    for n in range(rng.randint(least, most)):
        kind = "remark" if n == 0 else rng.choice(("remark", "reading", "reading", "marking", "void", "remark"))
        plot = rng.choice(PLOTS)
        draft = {"kind": kind, "plot": plot, "fields": {"remark": lambda: {"text": text(rng, words)}, "reading": lambda: {"row": rng.randint(1, 90), "plant": n + 1, "brix_raw_deg": rng.randint(150, 320) / 10},
                 "marking": lambda: {"marked_plants": rng.randint(1, 4000)}, "void": dict}[kind]()}
        if kind == "void" and not mine:
            draft = {"kind": "remark", "plot": plot, "fields": {"text": text(rng, words)}}
        elif kind == "void" or mine and rng.random() < 0.1:
            draft["replaces"] = rng.choice(mine)
        out.append(draft)
    return out


def clock_shift_ms(rng: random.Random) -> int:
    """Hours or years, either way, or back to the true time."""
    return rng.choice((0, rng.randint(-30, 30) * HOUR_MS, rng.randint(-300, 300) * 24 * HOUR_MS, rng.randint(-6, 6) * 8766 * HOUR_MS))
