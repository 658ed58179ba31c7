"""Instances of cutting, made as crates/planner/examples/families.rs describes, number for number.

Lengths are whole millimetres.
"""

import dataclasses

MASK = (1 << 64) - 1


class Random:
    """splitmix64 (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014)."""

    def __init__(self, state):
        self.state = state & MASK

    def next(self):
        self.state = (self.state + 0x9E3779B97F4A7C15) & MASK
        z = self.state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK
        return z ^ (z >> 31)

    def within(self, low, high):
        return low + self.next() % (high - low + 1)


@dataclasses.dataclass(frozen=True)
class Piece:
    wire: int
    serial: int
    length: int
    group: int


@dataclasses.dataclass(frozen=True)
class Coil:
    wire: int
    length: int
    opened: bool
    lot: int


@dataclasses.dataclass(frozen=True)
class Instance:
    name: str
    wires: int
    serials: int
    pieces: list
    coils: list
    trim: int
    keep: int
    reels: int
    trays: int
    unison: str  # "off", "hard" or "preferred"


@dataclasses.dataclass(frozen=True)
class Family:
    name: str
    wires: int
    serials: int  # 0: one for every 160 pieces
    whole: int  # percentage of coils that are whole
    remnant: tuple
    percent: int
    trim: int
    trays: int
    reels: int
    unison: str


WHOLE = (60_000, 170_000)
FAMILIES = [
    Family("whole", 1, 1, 100, WHOLE, 110, 0, 1, 4, "off"),
    Family("mixed", 1, 1, 15, (1_000, 20_000), 110, 0, 1, 4, "off"),
    Family("remnants", 1, 1, 0, (1_000, 6_000), 110, 20, 1, 4, "off"),
    Family("groups", 1, 1, 100, WHOLE, 110, 20, 1, 4, "hard"),
    Family("onecoil", 1, 1, 0, (4_000, 15_000), 115, 20, 1, 4, "hard"),
    Family("short", 1, 8, 0, (1_000, 6_000), 90, 0, 8, 4, "off"),
    Family("batches", 1, 8, 0, (1_000, 6_000), 110, 20, 2, 4, "off"),
    Family("reels", 14, 0, 100, WHOLE, 130, 20, 3, 3, "preferred"),
]


def make(family, count, seed):
    """The instance of a family with so many pieces."""
    number = FAMILIES.index(family)
    random = Random(seed * 1_000_003 + number * 1009 + count)
    lengths = [[random.within(250, 3200) for _ in range(50)] for _ in range(family.wires)]
    serials = family.serials or -(-count // 160)
    pieces, group = [], 0
    while len(pieces) < count:
        wire = random.within(0, family.wires - 1)
        length = lengths[wire][random.within(0, 49)]
        size = 1 if family.unison == "off" else random.within(2, 4)
        serial = len(pieces) * serials // count
        pieces += [Piece(wire, serial, length, group)] * min(size, count - len(pieces))
        group += 1
    coils = []
    for wire in range(family.wires):
        needed = sum(piece.length for piece in pieces if piece.wire == wire)
        have = 0
        while have * 100 < needed * family.percent:
            if family.whole in (0, 100):
                sealed = family.whole == 100
            else:
                sealed = random.within(0, 99) < family.whole
            length = random.within(*(WHOLE if sealed else family.remnant))
            have += length - family.trim
            coils.append(Coil(wire, length, not sealed, len(coils) // 10))
    return Instance(
        f"{family.name} {count}/{seed}", family.wires, serials, pieces, coils,
        family.trim, 250, family.reels, family.trays, family.unison,
    )  # fmt: skip


def bin_packing(name, sizes, capacity):
    """Bins are sealed coils that are all alike; whatever is left of one is worth keeping."""
    pieces = [Piece(0, 0, size, i) for i, size in enumerate(sizes)]
    coils = [Coil(0, capacity, False, 0) for _ in range(len(sizes))]
    return Instance(name, 1, 1, pieces, coils, 0, 0, 4, 1, "off")


def uniform(count, seed):
    """Sizes 20 to 100 in bins of 150 (the class of E. Falkenauer, J. of Heuristics 2, 1996)."""
    random = Random(seed * 7919 + count)
    return bin_packing(f"u{count}/{seed}", [random.within(20, 100) for _ in range(count)], 150)


def triplets(count, seed):
    """Threes that fill bins of 1000 exactly (same source)."""
    random = Random(seed * 104_729 + count)
    sizes = []
    for _ in range(count // 3):
        first = random.within(380, 490)
        second = random.within(250, 1000 - first - 250)
        sizes += [first, second, 1000 - first - second]
    return bin_packing(f"t{count}/{seed}", sizes, 1000)


def wide(count, seed):
    """Sizes 1 to 200 in bins of 1000."""
    random = Random(seed * 15_485_863 + count)
    return bin_packing(f"w{count}/{seed}", [random.within(1, 200) for _ in range(count)], 1000)
