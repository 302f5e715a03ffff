"""Why: the whole derivation of a fact, an option or a rule, down to what was stated."""

from __future__ import annotations

from advisor.decision import RuleBaseName, to_plain
from advisor.derivation import Derivation
from advisor.errors import Fault, Faults, did_you_mean, quoted
from advisor.judge import REJECTED, STOPPED, Judgement
from advisor.why_chosen import choice, is_chosen
from advisor.why_steps import Way

FORMATS = ("text", "json", "svg")


def why(judgement: Judgement, what: str) -> Derivation:
    """Return why something is so.

    Args:
        judgement: in which it is so; of the chosen (or nearest) build.
        what: the name of a fact, or of a rule that fired, is silent or could not be judged.

    Raises:
        Faults: about "usage": there is no such fact or rule.
    """
    base = judgement.base
    way = Way(judgement)
    notes = []
    if judgement.status in (STOPPED, REJECTED):
        nearest = "No build holds: this is of the nearest one, which is not to be built."
        alone = "The build as stated does not hold, and is not to be built."
        notes.append(nearest if judgement.count > 1 else alone)
    if what in base.vocabulary:
        if is_chosen(judgement, what):
            choice(way, what)
        else:
            way.fact(what)
    elif what in base.entries:
        notes += way.advice(what)
    else:
        raise Faults([_unknown(judgement, what)], "usage")
    rulebase = RuleBaseName(
        base.name,
        base.version,
        base.digest,
        tuple(f"{layer.name} {layer.version}" for layer in base.layers),
    )
    return Derivation(
        what, judgement.setup.title, judgement.status, rulebase, way.told(), tuple(notes)
    )


def answer(judgement: Judgement, what: str, form: str, colour: bool) -> str:
    """Return why something is so, as text, JSON or a picture.

    Args:
        judgement: in which it is so.
        what: a fact or a rule.
        form: one of `FORMATS`.
        colour: whether text is for a terminal.

    Raises:
        Faults: about "usage": there is no such fact or rule.
    """
    derivation = why(judgement, what)
    if form == "json":
        import json

        plain = to_plain(derivation)
        return json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    if form == "svg":
        from advisor.render.derivation_svg import render as render_svg

        return render_svg(derivation, colour)
    from advisor.render.derivation_text import render

    return render(derivation, colour)


def _unknown(judgement: Judgement, what: str) -> Fault:
    base = judgement.base
    gone = next((retired for retired in base.retired if retired.rule == what), None)
    if gone is not None:
        instead = f"; {gone.replacement} stands for it" if gone.replacement else ""
        told = f"{quoted(what)} was taken out of use by {gone.by}{instead}"
        return Fault("why", None, None, told, f"advisor rules show {what} tells why")
    told = f"{quoted(what)} is neither a fact nor a rule of {base.name} {base.version}"
    if what in base.vocabulary.groups:
        members = [name for name in base.vocabulary.entries if name.startswith(f"{what}.")]
        more = ", ..." if len(members) > 8 else ""
        return Fault("why", None, None, told, f"name one fact: {', '.join(members[:8])}{more}")
    near = did_you_mean(what, [*base.vocabulary.entries, *base.entries])
    lists = "advisor facts and advisor rules list show them all"
    return Fault("why", None, None, told, f"did you mean {near}?" if near else lists)
