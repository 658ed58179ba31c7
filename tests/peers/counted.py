"""The common form of an instance for solvers: things that are alike are counted, not named one by one."""

from collections import defaultdict

import heuristics


class Counted:
    """Items (pieces, or groups that stay together) by wire, serial, length and number of pieces."""

    def __init__(self, instance):
        kinds = defaultdict(list)
        for item in heuristics.items(instance):
            pieces = [instance.pieces[i] for i in item]
            key = (pieces[0].wire, pieces[0].serial, sum(piece.length for piece in pieces), len(pieces))
            kinds[key].append(item)
        self.kinds = sorted(kinds)
        self.items = [kinds[key] for key in self.kinds]
        self.pairs = [
            (k, c)
            for k, (wire, _, length, _) in enumerate(self.kinds)
            for c, coil in enumerate(instance.coils)
            if coil.wire == wire and coil.length - instance.trim >= length
        ]
        self.most = {
            (k, c): min(len(self.items[k]), (instance.coils[c].length - instance.trim) // self.kinds[k][2])
            for k, c in self.pairs
        }

    def assignment(self, instance, number):
        """Names the pieces again: `number[k, c]` items of kind k come from coil c."""
        coil_of = [None] * len(instance.pieces)
        left = [list(items) for items in self.items]
        for (k, c), count in number.items():
            for _ in range(count):
                for i in left[k].pop():
                    coil_of[i] = c
        return coil_of


def covered(instance):
    """Whether the model of the solvers is the whole problem: every serial can be open at once, so that a coil is mounted once;
    groups are kept or do not matter."""
    return instance.trays >= instance.serials and instance.unison != "preferred"
