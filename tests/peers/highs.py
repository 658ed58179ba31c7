"""The same model for HiGHS, level after level."""

import time
from collections import defaultdict

import highspy

import model
from counted import Counted


def solve(instance, seconds):
    """As `cp_sat.solve`."""
    deadline = time.monotonic() + seconds
    counted = Counted(instance)
    h = highspy.Highs()
    h.setOptionValue("output_flag", False)
    h.setOptionValue("threads", 2)
    h.setOptionValue("mip_rel_gap", 0.0)
    integer = highspy.HighsVarType.kInteger
    x = {pair: h.addVariable(lb=0, ub=most, type=integer) for pair, most in counted.most.items()}
    of_coil, of_kind = defaultdict(list), defaultdict(list)
    for (k, c), variable in x.items():
        of_coil[c].append((k, variable))
        of_kind[k].append(variable)
    for k, items in enumerate(counted.items):
        if of_kind[k]:
            h.addConstr(sum(of_kind[k]) <= len(items))
    scrap, opened, used_all = [], [], []
    lots = defaultdict(list)
    for c, entries in of_coil.items():
        coil = instance.coils[c]
        room = coil.length - instance.trim
        used = h.addVariable(lb=0, ub=1, type=integer)
        load = sum(counted.kinds[k][2] * variable for k, variable in entries)
        h.addConstr(load <= room * used)
        if instance.keep > 0:
            kept = h.addVariable(lb=0, ub=1, type=integer)
            tail = h.addVariable(lb=0, ub=instance.keep - 1)
            h.addConstr(load <= room - (instance.keep * kept))
            h.addConstr(tail >= room * used - load - room * kept)
            scrap.append(tail)
        scrap.append(instance.trim * used)
        used_all.append(used)
        if not coil.opened:
            opened.append(used)
        for k, variable in entries:
            lots[counted.kinds[k][1], counted.kinds[k][0], coil.lot].append((variable, counted.most[k, c]))
    seen = []
    for entries in lots.values():
        any_of = h.addVariable(lb=0, ub=1, type=integer)
        for variable, most in entries:
            h.addConstr(variable <= most * any_of)
        seen.append(any_of)
    uncut = []
    for serial in range(instance.serials):
        kinds = [k for k, kind in enumerate(counted.kinds) if kind[1] == serial and of_kind[k]]
        # Fewer uncut is more cut.
        uncut.append(sum((-counted.kinds[k][3]) * v for k in kinds for v in of_kind[k]) if kinds else None)
    levels = [*uncut, sum(scrap) if scrap else None, sum(opened) if opened else None, sum(used_all), sum(seen)]
    best, proven = None, 0
    for level in levels:
        if level is None:
            proven += 1
            continue
        left = deadline - time.monotonic()
        if left <= 0.05:
            break
        h.setOptionValue("time_limit", h.getRunTime() + left)
        h.minimize(level)
        status = h.getModelStatus()
        found = h.getInfo().primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        if not found:
            break
        number = {pair: round(h.variableValue(variable)) for pair, variable in x.items()}
        value = model.of_assignment(instance, counted.assignment(instance, number))
        # Within its tolerances a solver may overfill a coil by a hair; such an answer is none.
        if value is None:
            break
        best = value if best is None else min(best, value)
        if status != highspy.HighsModelStatus.kOptimal:
            break
        proven += 1
        h.addConstr(level <= h.getInfo().objective_function_value + 0.5)
    return best, proven == len(levels), proven
