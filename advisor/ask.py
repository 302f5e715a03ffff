"""The interview: asks what decides most next, until nothing is left to ask that can matter."""

from __future__ import annotations

from advisor.ask_answers import BACK, HELP, PASS, QUIT, WHY, command, read_answer
from advisor.ask_save import in_file_order
from advisor.ask_terminal import Terminal
from advisor.ask_words import (
    INTRODUCTION,
    NO_BUILD,
    NO_CHOICE_WAITS,
    asking,
    helping,
    standing,
    waiting,
    wrapped,
)
from advisor.decision import Decision, Question
from advisor.pipeline import advise, weighed
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Given, Setup, Stock
from advisor.trying import share
from advisor.vocabulary import UnfitError

WEIGHED = 5
"""Questions tried at each turn: the rules themselves put the likely ones first."""

MOST_IN_VAIN = 50
"""How many piped lines in a row may bring no answer before the questions end."""

_BOLD, _RED = "1", "31"


def interview(
    stated: Setup, base: RuleBase, stock: Stock | None, terminal: Terminal
) -> tuple[Setup, Decision]:
    """Ask until nothing is left that can matter, or the person has had enough.

    Args:
        stated: what is known before the first question.
        base: the rules.
        stock: what can be chosen from.
        terminal: where it is asked and answered.

    Returns:
        What is stated now, in the order of a setup file, and the Decision on it. What was not
        known stays unstated.
    """
    talk = Interview(stated, base, stock, terminal)
    talk.run()
    return talk.setup, talk.decision


class Interview:
    """One interview: what was answered, what was passed by, and the advice as it stands."""

    def __init__(
        self,
        stated: Setup,
        base: RuleBase,
        stock: Stock | None,
        terminal: Terminal,
        weighs: int = WEIGHED,
    ) -> None:
        self.stated = stated
        self.base = base
        self.stock = stock
        self.terminal = terminal
        self.weighs = weighs
        self.answers: dict[str, Given] = {}
        self.asked: list[str] = []
        self.in_vain = 0
        self.decision = advise(stated, base, stock)
        self._tried: dict[str, Question] = {}  # as the answers stand now

    @property
    def setup(self) -> Setup:
        """What is stated now: what was known first, then the answers as the vocabulary lists."""
        if not self.answers:
            return self.stated
        facts = dict(self.stated.facts)
        facts |= {n: self.answers[n] for n in self.base.vocabulary.entries if n in self.answers}
        return Setup(self.stated.title, in_file_order(facts, self.base.vocabulary))

    def run(self) -> None:
        """Ask, question by question."""
        say = self.terminal.say
        say(*wrapped(INTRODUCTION))
        before: Decision | None = None
        waits = True
        while True:
            if before is not self.decision:  # a question passed by moves nothing
                say("")
                told = standing(before, self.decision, self.base.vocabulary)
                say(*told, code=_RED if self.decision.status in NO_BUILD else "")
                before = self.decision
            left = self._weighed(self._left())
            if not left:
                say("", "Nothing is left to ask that could matter.", "")
                return
            builds = self.decision.status not in NO_BUILD
            if waits and builds and not any(question.because for question in left):
                waits = False
                say("", *wrapped(NO_CHOICE_WAITS))
            question = left[0]
            if not self._put(question, len(left)):
                say("")
                return

    # Which question

    def _left(self) -> list[Question]:
        """Return the questions not asked yet, those about assumed facts last.

        Only an assumption that the verdict rests on keeps its place. What is assumed and was let
        stand is taken as stated here: what could matter only without it need not be asked.
        """
        kept = [
            fact
            for fact in self.asked
            if fact not in self.answers and fact in self.decision.assumed
        ]
        decision = self.decision
        if kept:
            facts = dict(self.setup.facts)
            facts |= {fact: Given(self.base.assume[fact].value, "", 0, 0, "") for fact in kept}
            decision = advise(Setup("", facts), self.base, self.stock)
        left = [q for q in decision.questions if q.fact not in self.asked]
        return sorted(left, key=lambda question: question.assumed and not question.because)

    def _weighed(self, left: list[Question]) -> list[Question]:
        """Put the first few in order by what their answers would change: that takes a moment."""
        head = left[: self.weighs]
        new = [question for question in head if question.fact not in self._tried]
        if new:
            tried = weighed(new, self.setup, self.base, self.stock)
            self._tried |= {question.fact: question for question in tried}
        order = {question.fact: i for i, question in enumerate(head)}
        told = [self._tried[question.fact] for question in head]
        told.sort(key=lambda question: (-share(question), order[question.fact]))
        return [*told, *left[self.weighs :]]

    # Asking it

    def _put(self, question: Question, left: int) -> bool:
        """Put a question until something is done about it; tell whether to go on."""
        count = len(self.asked) + 1
        of = count + left - 1
        self.terminal.say("")
        self.terminal.say(*wrapped(f"{count} of about {of}. {question.asks}"), code=_BOLD)
        self.terminal.say(*asking(question, self.base))
        while True:
            line = self.terminal.read()
            if line is None:
                return False
            said = command(line)
            if said == QUIT:
                return False
            if said == PASS:
                self._done(question.fact)
                return True
            if not self.terminal.typed:
                self.in_vain += 1
                if self.in_vain > MOST_IN_VAIN:
                    self.terminal.say(
                        f"{MOST_IN_VAIN} lines in a row held no answer: the questions end here."
                    )
                    return False
            if said == BACK:
                if self._back():
                    return True
            elif said == WHY:
                self.terminal.say(*waiting(question, self.base))
            elif said == HELP:
                self.terminal.say(*helping(question, self.decision, self.base))
            elif self._take(question.fact, line):
                return True

    def _take(self, fact: str, line: str) -> bool:
        """Take an answer, or say what is wrong with it."""
        try:
            self.answers[fact] = read_answer(self.base.vocabulary[fact], line)
        except UnfitError as fault:
            self.terminal.say(*wrapped(f"{fault.what}; {fault.help}", 2), code=_RED)
            return False
        self._done(fact)
        self._renew()
        return True

    def _renew(self) -> None:
        self.decision = advise(self.setup, self.base, self.stock)
        self._tried.clear()

    def _done(self, fact: str) -> None:
        self.asked.append(fact)
        self.in_vain = 0

    def _back(self) -> bool:
        """Take back the last answer; tell whether there was one."""
        if not self.asked:
            self.terminal.say("  There is no earlier answer to take back.")
            return False
        if self.answers.pop(self.asked.pop(), None) is not None:
            self._renew()
        return True
