"""The interview: asks what decides most next, until nothing is left to ask that can matter."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.ask_answers import (
    BACK,
    HELP,
    PASS,
    QUIT,
    WHY,
    command,
    read_answer,
    read_title,
    understood,
)
from advisor.ask_order import Subjects
from advisor.ask_save import in_file_order
from advisor.ask_terminal import Terminal
from advisor.ask_words import (
    ASKS_NAME,
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
from advisor.pipeline import advise, offered_stock, taken, weighed
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Given, Setup, Stock
from advisor.trying import decides
from advisor.vocabulary import UnfitError

MOST_IN_VAIN = 50
"""How many piped lines in a row may bring no answer before the questions end."""

MOST_NAMES = 5
"""How often a name for the setup is asked, if what comes is none."""

_BOLD, _RED = "1", "31"


def interview(
    stated: Setup, base: RuleBase, stock: Stock | None, terminal: Terminal, *, saves: bool = False
) -> tuple[Setup, Decision]:
    """Ask until nothing is left that can matter, or the person has had enough.

    Args:
        stated: what is known before the first question.
        base: the rules.
        stock: what can be chosen from.
        terminal: where it is asked and answered.
        saves: whether the setup will be saved, so that a name for it is asked at the end.

    Returns:
        What is stated now, in the order of a setup file, and the Decision on it. What was not
        known stays unstated.
    """
    talk = Interview(stated, base, stock, terminal)
    talk.run()
    if saves and not stated.title:
        talk.ask_name()
    return talk.setup, talk.decision


class Interview:
    """One interview: what was answered, what was passed by, and the advice as it stands."""

    def __init__(
        self,
        stated: Setup,
        base: RuleBase,
        stock: Stock | None,
        terminal: Terminal,
        *,
        tries: bool = True,
    ) -> None:
        self.stated = stated
        self.base = base
        self.stock = stock
        self.terminal = terminal
        self.tries = tries
        self.title = stated.title
        self.ended = False
        """Whether the answers came to their end, so that nothing more can be asked."""
        self.answers: dict[str, Given] = {}
        self._subjects = Subjects(base)
        self.asked: list[str] = []
        self.in_vain = 0
        self.decision = advise(stated, base, stock)
        self._tried: dict[str, Question] = {}  # as the answers stand now

    @property
    def setup(self) -> Setup:
        """What is stated now: what was known first, then the answers as the vocabulary lists."""
        if not self.answers:
            return self.stated._replace(title=self.title)
        facts = dict(self.stated.facts)
        facts |= {n: self.answers[n] for n in self.base.vocabulary.entries if n in self.answers}
        known = {name: given.value for name, given in facts.items()}
        for name in self._subjects.implied(known):
            written = f"0 {self.base.vocabulary[name].unit}"
            facts[name] = next(iter(self.answers.values()))._replace(value=0.0, written=written)
        in_order = in_file_order(facts, self.base.vocabulary)
        return self.stated._replace(title=self.title, facts=in_order)

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

    def _left(self) -> list[tuple[int, Question]]:
        """Return the questions that may be put now, those about assumed facts last.

        Only an assumption that the verdict rests on keeps its place. What is assumed and was let
        stand is taken as stated here: what could matter only without it need not be asked.
        """
        assumed = self.decision.assumed
        kept = [fact for fact in self.asked if fact not in self.answers and fact in assumed]
        decision = self._with(kept)
        firm = {question.fact for question in self._with(assumed).questions}
        setup = taken(self.setup, self.base, offered_stock(self.base, self.stock))
        known = {fact: given.value for fact, given in setup.facts.items()}
        known |= {fact: self.base.assume[fact].value for fact in kept}
        left = [q for q in decision.questions if q.fact not in self.asked]
        return self._subjects.worth(left, known, firm)

    def _with(self, facts: Iterable[str]) -> Decision:
        """Return the Decision if these facts were stated to be what is assumed of them."""
        stated = {
            fact: Given(self.base.assume[fact].value, "", 0, 0, "")
            for fact in facts
            if fact in self.base.assume
        }
        if not stated:
            return self.decision
        setup = self.setup
        return advise(setup._replace(facts={**setup.facts, **stated}), self.base, self.stock)

    def _weighed(self, left: list[tuple[int, Question]]) -> list[Question]:
        """Put questions in order by what their answers, each tried, would change."""
        if not self.tries:
            return [question for _, question in left]
        new = [question for _, question in left if question.fact not in self._tried]
        if new:
            tried = weighed(new, self.setup, self.base, self.stock)
            self._tried |= {question.fact: question for question in tried}
        told = [(turn, self._tried[question.fact]) for turn, question in left]

        def order(place: int) -> tuple[float, int, float, int]:
            turn, question = told[place]
            choosing, stopping = decides(question)
            # A part that is there is asked about while it is at hand.
            return choosing if turn >= 0 else -2.0, turn, stopping, place

        return [told[place][1] for place in sorted(range(len(told)), key=order)]

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
                self.ended = True
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
                    self.ended = True
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
        entry = self.base.vocabulary[fact]
        try:
            given = self.answers[fact] = read_answer(entry, line)
        except UnfitError as fault:
            self._refuse(fault)
            return False
        taken = understood(entry, line, given)
        if taken:
            self.terminal.say(*wrapped(f"Understood as {taken}.", 2))
        self._done(fact)
        self._renew()
        return True

    def _refuse(self, fault: UnfitError) -> None:
        self.terminal.say(*wrapped(f"{fault.what}; {fault.help}", 2), code=_RED)

    def ask_name(self) -> None:
        """Ask for a name for the setup, unless there are no more answers."""
        for _ in range(MOST_NAMES):
            if self.ended:
                return
            self.terminal.say(ASKS_NAME, code=_BOLD)
            line = self.terminal.read()
            self.ended = line is None
            try:
                self.title = read_title(line or "")
            except UnfitError as fault:
                self._refuse(fault)
                continue
            if self.title:
                self._renew()
            self.terminal.say("")
            return

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
