"""Small plans beside a constraint solver that proves its optimum: the same value on every level.

The generator, the model and the solver's formulation are those of tests/peers, which compares larger instances and measures time.
"""

import os
import pathlib
import pickle
import subprocess
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
PEERS = ROOT / "tests" / "peers"
sys.path.append(str(PEERS))

import generator  # noqa: E402
import model  # noqa: E402
import server as peer  # noqa: E402

FAMILIES = [family for family in generator.FAMILIES if family.name in {"whole", "mixed", "remnants", "groups", "onecoil", "short"}]
# Far more than 12 pieces need, for a machine that is busy; a solver that proves nothing is a failure, not a pass.
SOLVER_SECONDS = 60


@pytest.fixture(scope="module")
def becket():
    planner = peer.Becket(os.environ.get("BECKET_BINARY", str(ROOT / "target" / "debug" / "becket")))
    yield planner
    planner.stop()


def optimum(instance):
    """Best value by CP-SAT, in a process of its own: its copy of protobuf does not go together with the client's."""
    worker = subprocess.run(
        [sys.executable, str(PEERS / "solve.py"), "cp_sat"],
        input=pickle.dumps((instance, SOLVER_SECONDS)), stdout=subprocess.PIPE, check=True,
    )  # fmt: skip
    (value, complete, _), _ = pickle.loads(worker.stdout)
    assert complete, "the solver did not prove its optimum in time"
    return value


@pytest.mark.parametrize("seed", [11, 12])
@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_a_small_plan_is_as_good_as_the_proven_optimum(becket, family, seed):
    instance = generator.make(family, 12, seed)
    answer, _ = becket.plan(instance)
    assert model.check_steps(instance, peer.steps(answer)).levels() == optimum(instance).levels()


def test_the_comparison_sees_a_worse_plan(becket):
    """Without its last cut a plan is worse, and the value by which plans are compared says so."""
    instance = generator.make(FAMILIES[0], 12, 11)
    answer, _ = becket.plan(instance)
    steps = peer.steps(answer)
    last_cut = max(at for at, step in enumerate(steps) if step[0] == "cut")
    assert model.check_steps(instance, steps[:last_cut] + steps[last_cut + 1 :]) > optimum(instance)
