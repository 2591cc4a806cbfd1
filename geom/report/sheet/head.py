"""The answer in large type: what to set, what to expect, how long, when to turn, and what forbids or warns."""

from geom.findings import Severity
from geom.plan import Plan
from geom.report.cardwords import Big, Card, Step, card_words
from geom.report.sheet.markup import Markup, joined, percent, tag
from geom.report.tree import Document

STOP_HEAD = "STOP: do not plate on this plan"
SHORTEST = 0.16
"""Share of the time line that the shortest stage has at least, so that its words find room."""


def answer_block(plan: Plan, tree: Document) -> Markup:
    """Return the answer: what forbids to plate comes first, warnings come right below the figures."""
    words = card_words(plan)
    figures = [_figure(big, first=number == 0) for number, big in enumerate(words.figures)]
    return joined(
        [
            _stops(plan),
            tag("div", *figures, class_="figures struck" if words.stops else "figures"),
            _turns(words),
            tag("div", *(tag("p", sentence) for sentence in tree.answer), class_="said"),
            _warnings(plan),
        ]
    )


def _figure(big: Big, *, first: bool) -> Markup:
    notes = [tag("span", note) for note in big.notes]
    value = tag("strong", big.value)
    return tag("div", tag("h2", big.label), value, *notes, class_="figure main" if first else "figure")


def _told(plan: Plan, severity: Severity) -> list[str]:
    return [f"{f.message[:1].upper()}{f.message[1:].rstrip('.')}." for f in plan.findings if f.severity == severity]


def _stops(plan: Plan) -> Markup:
    stops = _told(plan, Severity.STOP)
    if not stops:
        return Markup()
    inner = [tag("li", text) for text in stops]
    return tag("section", tag("h2", STOP_HEAD), tag("ul", *inner), class_="stop", role="alert")


def _warnings(plan: Plan) -> Markup:
    warnings = _told(plan, Severity.WARNING)
    if not warnings:
        return Markup()
    head = "Warning: see to this" if len(warnings) == 1 else f"{len(warnings)} warnings: see to these"
    inner = [tag("li", text) for text in warnings]
    return tag("section", tag("h2", f"{head} before you plate"), tag("ul", *inner), class_="warn")


def _turns(words: Card) -> Markup:
    """Return the time line: one stretch for each stage, and what is done between them."""
    if not words.steps:
        return Markup()
    lengths = [max(_length(step.minutes), 1e-9) for step in words.steps]
    whole = sum(lengths)
    shares = [max(length / whole, min(SHORTEST, 0.8 / len(lengths))) for length in lengths]
    shares = [share / sum(shares) for share in shares]
    steps = [_step(number, step) for number, step in enumerate(words.steps, 1)]
    head = "In one go" if len(words.steps) == 1 else "In this order, current on while it is turned"
    return tag("figure", tag("figcaption", head), _line(words.steps, shares), tag("ol", *steps), class_="turns")


def _length(words: str) -> float:
    """Return how long a stage is as told, in minutes."""
    value, _, unit = words.removeprefix("under ").partition(" ")
    return float(value) * (60.0 if unit == "h" else 1.0)


def _line(steps: tuple[Step, ...], shares: list[float]) -> Markup:
    pieces, start = [], 0.0
    for number, (step, share) in enumerate(zip(steps, shares, strict=True), 1):
        pieces.append(
            tag("rect", x=percent(start), y=4, width=percent(share), height=34, class_=f"stage s{number % 2}")
        )
        words = step.minutes if len(steps) <= 6 else str(number)
        pieces.append(tag("text", words, x=percent(start + share / 2), y=27, text_anchor="middle", class_="stage-time"))
        if number > 1:
            pieces.append(tag("line", x1=percent(start), x2=percent(start), y1=0, y2=42, class_="turn"))
        start += share
    told = "; ".join(f"{step.minutes} {step.how}" for step in steps)
    return tag("svg", *pieces, width="100%", height=42, role="img", aria_label=f"Time line: {told}")


def _step(number: int, step: Step) -> Markup:
    turn = f"{step.turn[:1].upper()}{step.turn[1:]}, then " if step.turn else ""
    rest = f" {step.how}" if not step.turn else ""
    return tag("li", turn, tag("strong", step.minutes), rest, value=number)
