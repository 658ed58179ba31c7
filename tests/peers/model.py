"""What a plan comes to, reckoned from the model and from nothing that a planner says.

A plan is a list of steps ("mount", coil, reel), ("cut", coil, piece) and ("unmount", coil). Levels, most important first, on
each of which less is better: pieces uncut serial by serial, groups split, scrap, coils opened, reel changes, lots.
"""

import dataclasses
from collections import Counter, defaultdict


@dataclasses.dataclass(frozen=True, order=True)
class Value:
    uncut: tuple
    split: int
    scrap: int
    opened: int
    changes: int
    lots: int

    def levels(self):
        return (self.uncut, self.split, self.scrap, self.opened, self.changes, self.lots)


def of_assignment(instance, coil_of):
    """The value of giving piece i to coil `coil_of[i]` (None: uncut), if each coil is mounted once; None if it does not fit.

    It holds where all serials can be open at a time, since then each coil is mounted, cut and taken off.
    """
    cut = defaultdict(list)
    for piece, coil in zip(instance.pieces, coil_of):
        if coil is not None:
            if instance.coils[coil].wire != piece.wire:
                return None
            cut[coil].append(piece)
    scrap = opened = 0
    for c, pieces in cut.items():
        coil = instance.coils[c]
        tail = coil.length - instance.trim - sum(piece.length for piece in pieces)
        if tail < 0:
            return None
        scrap += instance.trim + (tail if tail < instance.keep else 0)
        opened += not coil.opened
    uncut = [0] * instance.serials
    used = defaultdict(set)
    lots = set()
    missing = Counter()
    for piece, coil in zip(instance.pieces, coil_of):
        if coil is None:
            uncut[piece.serial] += 1
            missing[piece.group] += 1
        else:
            used[piece.group].add(coil)
            lots.add((piece.serial, piece.wire, instance.coils[coil].lot))
    if instance.unison == "hard" and any(len(coils) > 1 or missing[group] for group, coils in used.items()):
        return None
    split = 0 if instance.unison == "off" else sum(len(coils) > 1 for coils in used.values())
    return Value(tuple(uncut), split, scrap, opened, len(cut), len(lots))


def check_steps(instance, steps):
    """Follows a plan step by step and returns its value; raises AssertionError where it breaks a rule."""
    left = [coil.length for coil in instance.coils]
    reel_of, done, mounts = {}, {}, Counter()
    first, last = {}, {}
    scrap = 0
    for at, (kind, coil, what) in enumerate(steps):
        if kind == "mount":
            assert coil not in reel_of, "a coil is mounted twice at a time"
            assert 0 <= what < instance.reels and what not in reel_of.values(), "a reel position is taken"
            reel_of[coil] = what
            mounts[coil] += 1
            left[coil] -= instance.trim
            scrap += instance.trim
        elif kind == "cut":
            piece = instance.pieces[what]
            assert coil in reel_of, "a piece is cut from a coil that is not mounted"
            assert what not in done, "a piece is cut twice"
            assert piece.wire == instance.coils[coil].wire, "a piece is cut from another wire"
            left[coil] -= piece.length
            done[what] = coil
            first.setdefault(piece.serial, at)
            last[piece.serial] = at
        else:
            del reel_of[coil]
            if 0 < left[coil] < instance.keep:
                scrap += left[coil]
                left[coil] = 0
        assert left[coil] >= 0, "a coil gives more than it has"
    assert not reel_of, "coils are left mounted"
    for at in first.values():
        open_now = sum(first[s] <= at <= last[s] for s in first)
        assert open_now <= instance.trays, "more serials are open than there are trays"
    value = of_assignment(instance, [done.get(i) for i in range(len(instance.pieces))])
    if value is None:
        # Only a coil that is mounted twice has less than of_assignment thinks; the steps above are what counts then.
        assert max(mounts.values(), default=0) > 1, "the plan does not fit its coils, or divides a group"
    opened = sum(not instance.coils[coil].opened for coil in mounts)
    used, uncut, lots, missing = defaultdict(set), [0] * instance.serials, set(), set()
    for i, piece in enumerate(instance.pieces):
        if i in done:
            used[piece.group].add(done[i])
            lots.add((piece.serial, piece.wire, instance.coils[done[i]].lot))
        else:
            uncut[piece.serial] += 1
            missing.add(piece.group)
    divided = sum(len(coils) > 1 for coils in used.values())
    if instance.unison == "hard":
        assert divided == 0 and not (missing & used.keys()), "a group is divided"
    split = 0 if instance.unison == "off" else divided
    return Value(tuple(uncut), split, scrap, opened, sum(mounts.values()), len(lots))
