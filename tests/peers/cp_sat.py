"""The model for CP-SAT of OR-Tools, level after level."""

import time
from collections import defaultdict

from ortools.sat.python import cp_model

import model
from counted import Counted


def solve(instance, seconds):
    """The best value found, and how many levels are proven, from the first one on (a serial counts as a level of its own)."""
    deadline = time.monotonic() + seconds
    counted = Counted(instance)
    cp = cp_model.CpModel()
    x = {pair: cp.new_int_var(0, most, "") for pair, most in counted.most.items()}
    of_coil, of_kind = defaultdict(list), defaultdict(list)
    for (k, c), variable in x.items():
        of_coil[c].append((counted.kinds[k], variable))
        of_kind[k].append(variable)
    for k, items in enumerate(counted.items):
        cp.add(sum(of_kind[k]) <= len(items))
    scrap, opened, used_all = [], [], []
    lots = defaultdict(list)
    for c, entries in of_coil.items():
        coil = instance.coils[c]
        room = coil.length - instance.trim
        used = cp.new_bool_var("")
        load = sum(kind[2] * variable for kind, variable in entries)
        cp.add(load <= room * used)
        cp.add(sum(variable for _, variable in entries) >= used)
        if instance.keep > 0:
            kept = cp.new_bool_var("")
            tail = cp.new_int_var(0, instance.keep - 1, "")
            cp.add(load <= room - instance.keep).only_enforce_if(kept)
            # What is left is kept, or it is the scrap; the solver makes it small.
            cp.add(tail >= room - load).only_enforce_if([used, ~kept])
            scrap.append(tail)
        scrap.append(instance.trim * used)
        used_all.append(used)
        if not coil.opened:
            opened.append(used)
        for kind, variable in entries:
            lots[kind[1], kind[0], coil.lot].append(variable)
    seen = []
    for variables in lots.values():
        any_of = cp.new_bool_var("")
        for variable in variables:
            cp.add(variable == 0).only_enforce_if(~any_of)
        seen.append(any_of)
    uncut = []
    for serial in range(instance.serials):
        kinds = [k for k, kind in enumerate(counted.kinds) if kind[1] == serial]
        all_pieces = sum(counted.kinds[k][3] * len(counted.items[k]) for k in kinds)
        uncut.append(all_pieces - sum(counted.kinds[k][3] * v for k in kinds for v in of_kind[k]))
    levels = [*uncut, sum(scrap), sum(opened), sum(used_all), sum(seen)]
    best, proven = None, 0
    for level in levels:
        left = deadline - time.monotonic()
        if left <= 0.05:
            break
        if isinstance(level, int):
            proven += best is not None or level == 0
            continue
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = left
        solver.parameters.num_workers = 2
        cp.minimize(level)
        status = solver.solve(cp)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            break
        number = {pair: solver.value(variable) for pair, variable in x.items()}
        value = model.of_assignment(instance, counted.assignment(instance, number))
        assert value is not None, "the solver's answer breaks a rule"
        best = value if best is None else min(best, value)
        if status != cp_model.OPTIMAL:
            break
        proven += 1
        cp.add(level <= round(solver.objective_value))
        cp.clear_hints()
        for pair, variable in x.items():
            cp.add_hint(variable, number[pair])
    return best, proven == len(levels), proven
