"""Proofs about a rule base over its declared domain, by an outside solver (z3-solver, an extra).

What is asked is whether some setup of the domain lets a rule fire, stand, matter, tie. Each fact is
a typed variable with a bit for whether it has a value and one for whether it was stated; conditions
come to a pair, *yes* and *no*, of which at most one holds; rules are in states and defeat each
other as in the engine. "No setup" is the solver's answer; every "some setup" is a witness, which
counts only once the engine itself was run on it and did what is said.

What is taken for granted, and told with each finding:

- Computed facts are free within their range, whatever they are computed from. So a "no setup" holds
  as long as no function leaves its fact's range, and a witness states the computed facts it needs.
- A number is any real number in its range. Between two neighbouring numbers of nine digits there is
  none that a fact could have; a rule that could fire only there is not found.
- The solver gets a bounded number of steps for each question; one it leaves open leads to no
  finding.
"""
