"""Figures side by side in one run: `python -m tests.benchmarks`. They print; they never fail.

Machines differ and are busy, so ratios are what counts: each pair is timed in turn, several times,
and the medians are compared. Peers: the C engine behind clipspy on the same rules with the same
answers: tuned (all input in one call, wide facts, its error router off), as it comes (a fact for
each name, the router on) and by facts (each fact asserted by a call of its own, as its documentation
shows); and a naive loop over the same compiled conditions.
"""

from __future__ import annotations

import itertools
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from advisor.engine.conditions import compile_condition
from advisor.engine.program import Program
from advisor.engine.run import Run
from advisor.engine.values import Value
from tests.reference import adapter
from tests.reference.synthetic import Base, synthetic

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = ROOT / "examples" / "fixed-blade-hunting.yaml"
STOCK_OF = 12
ROUNDS = 15


def median_of(work: Callable[[], None], rounds: int = ROUNDS) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def traced(run: Run) -> object:
    """Write the whole trace out, as the peer does."""
    return (
        run.states(),
        run.set_aside(),
        run.tied(),
        run.concluded(),
    )


class NaiveLoop:
    """What one would write first: go round all rules until nothing new fires."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.rules = [
            (
                rule,
                compile_condition(rule.when, program.table) if rule.when else None,
                compile_condition(rule.unless, program.table) if rule.unless else None,
            )
            for rule in program.rules
        ]

    def run(self, values: list[Value]) -> dict[str, int]:
        states: dict[str, int] = {}
        for _ in range(8):
            before = dict(states)
            for rule, when, unless in self.rules:
                held = 2 if when is None else when(values)
                barred = 0 if unless is None else unless(values)
                states[rule.id] = 0 if barred == 2 else held
                if states[rule.id] == 2:
                    for fact, value in rule.sets:
                        values[self.program.table.slot[fact]] = value
            if states == before:
                break
        return states


def engine(rules: int) -> None:
    base: Base = synthetic(rules, 1)
    vocabulary, plain, setups = base
    program = adapter.program_of(vocabulary, plain)
    filled = [adapter.values_of(program.table, vocabulary, f, s) for f, s in setups]
    naive = NaiveLoop(program)

    def ours() -> None:
        for values in filled:
            program.run(values.copy())

    def ours_traced() -> None:
        for values in filled:
            traced(program.run(values.copy()))

    def loop() -> None:
        for values in filled:
            naive.run(values.copy())

    for work in (ours, ours_traced, loop):
        work()
    run, trace, slow = (median_of(w) / len(filled) * 1e6 for w in (ours, ours_traced, loop))
    print(f"{rules:>5} rules  run {run:8.1f} us  with the trace written out {trace:8.1f} us")
    print(
        f"             naive loop       {slow:9.1f} us  {slow / run:5.1f} x  {slow / trace:5.1f} x"
    )
    clips_peers(vocabulary, plain, setups, run, trace)


def growth(seeds: int = 6) -> None:
    """Print how the cost of a run grows with the rules, over several made-up rule bases of a size.

    The facts grow with the rules in these; and which draw one happens on matters more than the
    clock does.
    """

    def cost(rules: int, seed: int) -> float:
        vocabulary, plain, setups = synthetic(rules, seed)
        program = adapter.program_of(vocabulary, plain)
        filled = [adapter.values_of(program.table, vocabulary, f, s) for f, s in setups]

        def work() -> None:
            for values in filled:
                program.run(values.copy())

        work()
        return median_of(work)

    sizes = (50, 200, 1000)
    costs = {rules: [cost(rules, seed) for seed in range(1, seeds + 1)] for rules in sizes}
    for few, many in itertools.pairwise(sizes):
        each = [b / a for a, b in zip(costs[few], costs[many], strict=True)]
        overall = sum(costs[many]) / sum(costs[few])
        print(
            f"{few} to {many} rules ({many / few:.0f} x): the cost grows {overall:.2f} x over {seeds} "
            f"rule bases together, {min(each):.2f} to {max(each):.2f} x in each"
        )


def clips_peers(
    vocabulary: dict[str, dict[str, object]],
    plain: list[dict[str, object]],
    setups: list[tuple[dict[str, object], set[str]]],
    run: float,
    trace: float,
) -> None:
    try:
        from tests.reference.in_clips import ClipsProgram

        peers = {
            "clipspy, tuned   ": ClipsProgram(vocabulary, plain),
            "clipspy, as comes": ClipsProgram(vocabulary, plain, width=1, routers=True),
            "clipspy, by facts": ClipsProgram(
                vocabulary, plain, width=1, routers=True, fact_by_fact=True
            ),
        }
    except ImportError:
        print("             clipspy is not installed: no peer to compare with")
        return
    for name, peer in peers.items():

        def work(peer: ClipsProgram = peer) -> None:
            for facts, stated in setups:
                peer.run(facts, stated)

        work()
        took = median_of(work, 7) / len(setups) * 1e6
        print(f"             {name} {took:8.1f} us  {took / run:5.1f} x  {took / trace:5.1f} x")


def advise_in_process() -> None:
    from advisor.pipeline import advise
    from advisor.rulebase.read import read_rule_base
    from advisor.setups.model import Stock
    from advisor.setups.read import read_setup

    base = read_rule_base()
    setup = read_setup(str(EXAMPLE), [], base.vocabulary)
    plastic = [v for v in base.ladder.items["vane"] if v.facts["vane.material"] != "feather"]
    stock = Stock("twelve vanes", {"vane": tuple(plastic[3 : 3 + STOCK_OF])}, {})
    decision = advise(setup, base, stock)
    took = statistics.median(once(lambda: advise(setup, base, stock)) for _ in range(61)) * 1e3
    counting = statistics.median(once(count) for _ in range(61)) * 1e3
    whole = statistics.median(once(lambda: advise(setup, base)) for _ in range(21)) * 1e3
    print(
        f"advise in process, {len(base.entries)} rules: {took:.1f} ms over {decision.builds} builds "
        f"({STOCK_OF} vanes), {whole:.1f} ms over the whole ladder; "
        f"adding up 100,000 numbers {counting:.1f} ms: {took / counting:.2f} x"
    )


def answers_in_process() -> None:
    """Print what a reviewer waits for: what would change the advice, and why not something else."""
    from advisor.judge import Judgement
    from advisor.pipeline import advise, offered_stock
    from advisor.rulebase.read import read_rule_base
    from advisor.setups.model import Stock
    from advisor.setups.read import read_setup
    from advisor.turning import turning_points
    from advisor.why_not import why_not

    base = read_rule_base()
    setup = read_setup(str(EXAMPLE), [], base.vocabulary)
    plastic = [v for v in base.ladder.items["vane"] if v.facts["vane.material"] != "feather"]
    twelve = Stock("twelve vanes", {"vane": tuple(plastic[3 : 3 + STOCK_OF])}, {})
    for name, stock in (("12 vanes", twelve), ("the whole ladder", None)):
        judgement = Judgement(setup, base, offered_stock(base, stock))

        def turn(judgement: Judgement = judgement) -> object:
            return turning_points(judgement)

        def build(judgement: Judgement = judgement) -> object:
            return why_not(judgement, {"fletching.count": 3.0})

        def rule(judgement: Judgement = judgement) -> object:
            return why_not(judgement, "more-height-before-more-length")

        for work in (turn, build, rule):
            work()
        turning, other, silent = (
            statistics.median(once(work) for _ in range(15)) * 1e3 for work in (turn, build, rule)
        )
        print(
            f"over {name}: turning points of {len(setup.facts)} stated facts {turning:.0f} ms; "
            f"why not three vanes {other:.0f} ms; why not a silent rule {silent:.0f} ms"
        )
    plain = statistics.median(once(lambda: advise(setup, base)) for _ in range(21)) * 1e3
    tried = (
        statistics.median(once(lambda: advise(setup, base, weigh=True)) for _ in range(21)) * 1e3
    )
    print(
        f"advise with its questions tried: {tried:.1f} ms, {tried - plain:.1f} of them for trying"
    )


def rules_in_process() -> None:
    """What an author of rules waits for: proofs, coverage, a few mutants, a million setups."""
    from advisor.checking import check
    from advisor.comparing_rules import compare_rules
    from advisor.coverage.rules import coverage
    from advisor.mutation.score import mutation
    from advisor.rulebase.read import read_rule_base

    base = read_rule_base()
    house = read_rule_base(str(ROOT / "examples" / "quillmere" / "rules"))
    proving = once(lambda: check(base))
    covering = once(lambda: coverage(base))
    start = time.perf_counter()
    tried = mutation(base, share=0.02, workers=os.cpu_count() or 1).total.of
    mutating = time.perf_counter() - start
    comparing = once(lambda: compare_rules(base, house))
    print(
        f"{len(base.entries)} rules: checked with proofs in {proving:.1f} s, coverage by their cases "
        f"{covering:.1f} s, {tried} changes of them tried in {mutating:.1f} s; base and house "
        f"compared on 1,000,000 setups and 300 whole builds in {comparing:.1f} s"
    )


def once(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def count() -> None:
    """Do what takes the same on every day: how busy the machine is shows in it."""
    total = 0
    for i in range(100_000):
        total += i


def with_bytecode(folder: str) -> dict[str, str]:
    """Return an environment in which modules are compiled once, as in any installation."""
    kept = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": f"{folder}/bytecode"}
    kept.pop("PYTHONDONTWRITEBYTECODE", None)
    return kept


def cold() -> None:
    with tempfile.TemporaryDirectory() as cache:
        environment = with_bytecode(cache)
        tried = [sys.executable, "-m", "advisor", "advise", str(EXAMPLE)]
        ours = [*tried, "--quick"]
        typer = [sys.executable, "-c", "import typer"]

        def process(command: list[str], rules: str = cache) -> float:
            kept = {**environment, "ADVISOR_CACHE": rules}
            start = time.perf_counter()
            subprocess.run(command, check=True, env=kept, stdout=subprocess.DEVNULL, cwd=ROOT)
            return time.perf_counter() - start

        process(ours, f"{cache}/other")
        first = process(ours)
        process(tried)
        runs = [(process(ours), process(tried), process(typer)) for _ in range(ROUNDS)]
    a, b, c = (statistics.median(times) * 1e3 for times in zip(*runs, strict=True))
    quick = statistics.median(x / z for x, _, z in runs)
    whole = statistics.median(y / z for _, y, z in runs)
    print(
        f"advise as a cold process: --quick {a:.0f} ms, with its questions tried {b:.0f} ms; "
        f"python -c 'import typer' {c:.0f} ms: {quick:.2f} x and {whole:.2f} x"
    )
    print(f"the very first time, before the rules are cached: {first * 1e3:.0f} ms")


def memory() -> None:
    code = (
        "import sys; sys.argv = ['advisor', 'advise', sys.argv[1]]\n"
        "from advisor.cli import app\n"
        "try:\n    app()\nexcept SystemExit:\n    pass\n"
        # The high-water mark of this program alone: getrusage would count what the parent had.
        "print([x for x in open('/proc/self/status') if 'VmHWM' in x][0].split()[1], file=sys.stderr)"
    )
    peaks = []
    with tempfile.TemporaryDirectory() as folder:
        environment = {**with_bytecode(folder), "ADVISOR_CACHE": folder}
        for _ in range(2):  # the second takes the rules from the cache, as every later one does
            command = [sys.executable, "-c", code, str(EXAMPLE)]
            done = subprocess.run(
                command, check=True, capture_output=True, text=True, cwd=ROOT, env=environment
            )
            peaks.append(int(done.stderr.strip().splitlines()[-1]) / 1024)
    print(f"peak memory of one advise: {peaks[-1]:.0f} MiB")


def main() -> None:
    advise_in_process()  # first, while no peer's rules fill the memory
    answers_in_process()
    print("engine, per setup, forty setups; ratios to the run alone and with its trace")
    for rules in (50, 200, 1000):
        engine(rules)
    growth()
    cold()
    memory()
    rules_in_process()


if __name__ == "__main__":
    main()
