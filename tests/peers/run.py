"""becket beside a constraint solver, a mixed-integer solver and what a shop does by hand, on the same instances in one run.

Prints Markdown. Losses stay in the table.
"""

import argparse
import pathlib
import pickle
import statistics
import subprocess
import sys
import time

import generator
import heuristics
import model
from counted import covered
from server import ROOT, Becket, steps

# Most coils of a call (PlanCutsRequest.coils).
MOST_COILS = 100_000
SOLVERS = {"CP-SAT": "cp_sat", "HiGHS": "highs"}


def solve(module, instance, seconds):
    """Result of a solver, and the time that it took without the start of its process."""
    worker = subprocess.run(
        [sys.executable, str(pathlib.Path(__file__).with_name("solve.py")), module],
        input=pickle.dumps((instance, seconds)), stdout=subprocess.PIPE, check=True,
    )  # fmt: skip
    return pickle.loads(worker.stdout)


def becket_value(becket, instance):
    answer, seconds = becket.plan(instance)
    value = model.check_steps(instance, steps(answer))
    gap = next((f"{level_name(level)} +{level.value - level.lower_bound}" for level in answer.levels if not level.proven), "none")
    return value, seconds, gap


def level_name(level):
    from becket.cutting.v1 import cut_list_pb2

    return cut_list_pb2.PlanLevel.Name(level.level).removeprefix("PLAN_LEVEL_").lower().replace("_", " ")


def shown(value):
    if value is None:
        return "– | – | – | – | – | –"
    return f"{sum(value.uncut)} | {value.split} | {value.scrap} | {value.opened} | {value.changes} | {value.lots}"


def compare(becket, instances, seconds):
    print("| instance | by | uncut | split | scrap mm | opened | changes | lots | proven | seconds | against becket |")
    print("|---|---|---|---|---|---|---|---|---|---|---|")
    tally, ratios = {}, []
    for instance in instances:
        ours, took, gap = becket_value(becket, instance)
        print(f"| {instance.name} | becket | {shown(ours)} | gap: {gap} | {took:.3f} | |", flush=True)
        rows = []
        if covered(instance):
            for name, module in SOLVERS.items():
                (value, complete, proven), spent = solve(module, instance, seconds)
                ratios.append(took / spent)
                rows.append((name, value, "all levels" if complete else f"{proven} levels", spent))
        for name, (fit, decreasing) in heuristics.METHODS.items():
            if not covered(instance):
                continue
            begin = time.monotonic()
            rows.append((name, heuristics.plan(instance, fit, decreasing), "", time.monotonic() - begin))
        for name, value, proven, spent in rows:
            result = "no plan" if value is None else "loses" if value > ours else "ties" if value == ours else "WINS"
            tally.setdefault(name, dict.fromkeys(["WINS", "ties", "loses", "no plan"], 0))[result] += 1
            print(f"| | {name} | {shown(value)} | {proven} | {spent:.3f} | {result} |", flush=True)
    print("\n| against becket | wins | ties | loses | no plan in time |\n|---|---|---|---|---|")
    for name, results in tally.items():
        print(f"| {name} | {results['WINS']} | {results['ties']} | {results['loses']} | {results['no plan']} |")
    if ratios:
        print(f"\nTime of becket, call included, to that of a solver: median 1 : {1 / statistics.median(ratios):.0f}.")


def bins(becket, seeds):
    print("| class | instances | proven optimal | bins above bound, at most | slowest s |\n|---|---|---|---|---|")
    classes = [(generator.uniform, n) for n in (120, 250, 500, 1000)]
    classes += [(generator.triplets, n) for n in (60, 120, 249, 501)] + [(generator.wide, 200)]
    for make, count in classes:
        proven, above, slowest = 0, 0, 0.0
        for seed in range(1, seeds + 1):
            instance = make(count, seed)
            answer, seconds = becket.plan(instance)
            value = model.check_steps(instance, steps(answer))
            opened = next(level for level in answer.levels if level_name(level) == "coils opened")
            assert sum(value.uncut) == 0 and value.opened == opened.value
            proven += opened.proven
            above = max(above, opened.value - opened.lower_bound)
            slowest = max(slowest, seconds)
        print(f"| {make(count, 1).name.split('/')[0]} | {seeds} | {proven} | {above} | {slowest:.2f} |", flush=True)


def growth(binary, most, picture):
    print("| family | pieces | becket s | search s | uncut | scrap mm | gap | best fit decreasing: scrap mm | server MiB |")
    print("|---|---|---|---|---|---|---|---|---|")
    drawn = {}
    for name in ("whole", "mixed", "reels"):
        family = next(family for family in generator.FAMILIES if family.name == name)
        for count in (500, 5_000, 50_000, 160_000, 1_600_000):
            if count > most:
                continue
            instance = generator.make(family, count, 1)
            if len(instance.coils) > MOST_COILS:
                print(f"| {name} | {count} | not asked: {len(instance.coils)} coils |||||||", flush=True)
                continue
            becket = Becket(binary)
            try:
                answer, seconds = becket.plan(instance, steps=count <= 50_000)
                hand = "–"
                if covered(instance) and count <= 5_000:
                    hand = heuristics.plan(instance, "best", True).scrap
                gap = next((f"{level_name(l)} +{l.value - l.lower_bound}" for l in answer.levels if not l.proven), "none")
                if count <= 50_000:
                    model.check_steps(instance, steps(answer))
                uncut = sum(u.count for u in answer.uncut)
                search = answer.search_us / 1e6
                drawn.setdefault(name, []).append((count, search))
                scrap = answer.figures.scrap_um / 1000
                print(f"| {name} | {count} | {seconds:.2f} | {search:.3f} | {uncut} | {scrap:.0f} | {gap} | {hand} | {becket.peak_mib():.0f} |", flush=True)
            finally:
                becket.stop()
    if picture:
        draw(drawn, picture)


def draw(drawn, picture):
    import matplotlib

    matplotlib.use("svg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(6, 4), layout="constrained")
    for (name, points), marker in zip(drawn.items(), "osD"):
        axes.loglog(*zip(*points), marker=marker, label=name)
    axes.set(xlabel="pieces", ylabel="search, s", title="Growth of the search (a straight line of slope 1 is linear)")
    axes.grid(True, which="major", alpha=0.4)
    axes.legend()
    figure.savefig(picture, metadata={"Date": None})


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", choices=["peers", "bins", "growth"])
    parser.add_argument("--binary", default=str(ROOT / "target" / "release" / "becket"))
    parser.add_argument("--seconds", type=float, default=60, help="time for a solver on one instance")
    parser.add_argument("--sizes", default="12,30,60,500", help="pieces of an instance")
    parser.add_argument("--families", default="whole,mixed,remnants,groups,onecoil,short")
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--most", type=int, default=160_000, help="growth: most pieces")
    parser.add_argument("--picture", type=pathlib.Path, help="growth: file of the plot")
    args = parser.parse_args()
    if args.part == "growth":
        return growth(args.binary, args.most, args.picture)
    becket = Becket(args.binary)
    try:
        if args.part == "bins":
            return bins(becket, args.seeds)
        instances = [
            generator.make(family, int(size), seed)
            for family in generator.FAMILIES
            if family.name in args.families.split(",")
            for size in args.sizes.split(",")
            for seed in range(1, args.seeds + 1)
        ]
        compare(becket, instances, args.seconds)
    finally:
        becket.stop()


if __name__ == "__main__":
    main()
