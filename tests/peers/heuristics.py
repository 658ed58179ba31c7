"""What a shop does by hand: pieces, or groups that stay together, one after another into the first or the tightest coil."""

from collections import defaultdict

import model


def items(instance):
    """What is placed as a whole, in due order: groups where the rule is hard, else pieces."""
    if instance.unison != "hard":
        return [[i] for i in range(len(instance.pieces))]
    groups = defaultdict(list)
    for i, piece in enumerate(instance.pieces):
        groups[piece.group].append(i)
    return list(groups.values())


def plan(instance, fit, decreasing):
    """Coils that are open come before sealed ones, and either in the order of receipt."""
    length_of = lambda item: sum(instance.pieces[i].length for i in item)
    order = items(instance)
    if decreasing:
        order.sort(key=lambda item: (instance.pieces[item[0]].serial, -length_of(item)))
    room = [coil.length - instance.trim for coil in instance.coils]
    by_wire = defaultdict(list)
    for c in sorted(range(len(room)), key=lambda c: (not instance.coils[c].opened, c)):
        by_wire[instance.coils[c].wire].append(c)
    used = set()
    coil_of = [None] * len(instance.pieces)
    for item in order:
        length = length_of(item)
        fitting = [c for c in by_wire[instance.pieces[item[0]].wire] if room[c] >= length]
        if not fitting:
            continue
        # A sealed coil is opened only if nothing that is open is long enough.
        begun = [c for c in fitting if instance.coils[c].opened or c in used] or fitting[:1]
        coil = begun[0] if fit == "first" else min(begun, key=lambda c: (room[c], c))
        room[coil] -= length
        used.add(coil)
        for i in item:
            coil_of[i] = coil
    value = model.of_assignment(instance, coil_of)
    assert value is not None
    return value


METHODS = {
    "first fit": ("first", False),
    "best fit": ("best", False),
    "first fit decreasing": ("first", True),
    "best fit decreasing": ("best", True),
}
