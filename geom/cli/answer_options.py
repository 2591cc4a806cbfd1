"""The options that say a part, bath and set-up without a job file, the same for every command that takes them."""

import re
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

SHAPES_OF_JOBS = ("tube", "washer", "angle", "channel", "offset", "outline")
"""Shapes that have no option of their own."""
ALIKE = {
    **dict.fromkeys(("plate", "sheet", "strip", "block", "cube", "box", "flat"), "bar"),
    **dict.fromkeys(("cylinder", "pin", "wire", "shaft", "round"), "rod"),
}
"""What people call a bar and a rod."""
F = TypeVar("F", bound=Callable[..., Any])
SECTION = "Without a job file"


class AnswerOption(click.Option):
    """An option that is an answer to what a job file says."""


class CommandWithAnswers(click.Command):
    """A command whose help tells the answers apart from its other options."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the words; of a shape that only a job file knows, say so instead of the nearest option."""
        try:
            return super().parse_args(ctx, args)
        except click.NoSuchOption as error:
            shape = error.option_name.lstrip("-")
            if shape in ALIKE:
                raise click.UsageError(f"No such option '--{shape}'. Did you mean '--{ALIKE[shape]}'?", ctx) from None
            if shape in SHAPES_OF_JOBS:
                text = (
                    f"No such option '--{shape}': only --bar and --rod are shapes here. A job file knows this one too: "
                )
                raise click.UsageError(f'{text}shape = "{shape}" under [part], see docs/job-file.md.', ctx) from None
            raise

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options in two sections."""
        for title, is_answer in (("Options", False), (SECTION, True)):
            options = [param for param in self.get_params(ctx) if isinstance(param, click.Option)]
            shown = [option for option in options if isinstance(option, AnswerOption) is is_answer]
            rows = [row for row in (param.get_help_record(ctx) for param in shown) if row is not None]
            with formatter.section(title):
                formatter.write_dl(rows)


def _starting(names: Sequence[str], incomplete: str) -> list[CompletionItem]:
    return [CompletionItem(name) for name in names if name.startswith(incomplete.casefold())]


def complete_bath(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the baths that begin so."""
    from geom.tables.load import shipped

    return [
        CompletionItem(name, help=row["title"]) for name, row in shipped("baths").items() if name.startswith(incomplete)
    ]


def complete_pose(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the ways of hanging that begin so."""
    from geom.job.setup import POSES

    return _starting([re.sub("[, ]+", "-", name) for name in POSES], incomplete)  # a shell would part it at the blanks


def _of(*names: str) -> Callable[[click.Context, click.Parameter, str], list[CompletionItem]]:
    return lambda ctx, param, incomplete: _starting(names, incomplete)


_OPTIONS: tuple[tuple[str, str, str, Any], ...] = (
    ("bar", "L x W x T", 'Flat bar: length x width x thickness, "100 x 20 x 3 mm".', None),
    ("rod", "D x L", 'Round rod: diameter x length, "8 x 60 mm".', None),
    ("hole", "D at X,Y", 'Hole in the bar, from its middle: "8 mm at -30,0". May be repeated.', None),
    (
        "unit",
        "UNIT",
        "Length of one unit of a mesh or drawing: mm, cm, m, in, ft. Never guessed.",
        _of("mm", "cm", "m", "in", "ft"),
    ),
    ("thickness", "LENGTH", 'Of the metal, for a drawing: "2 mm".', None),
    ("bath", "NAME", "As `geom baths` lists them; watts-nickel.", complete_bath),
    ("temperature", "AMOUNT", 'Of the bath: "50 C".', None),
    ("stirred", "yes|no", "Is the bath moved?", _of("yes", "no")),
    ("tank", "L x W x DEPTH", 'Inside, and depth of liquid: "200 x 120 x 160 mm", "round 180 x 160 mm".', None),
    ("anode", "T x W x H", 'Sheet "2 x 80 x 120 mm" or "rod 10 x 110 mm", and its metal: "nickel, 2 x …".', None),
    ("anodes", "WHERE", '"one side" or "both sides" of the part.', _of("one", "both")),
    ("distance", "LENGTH", 'Gap from anode to part: "60 mm".', None),
    ("pose", "WORDS", 'How it hangs: "upright, broad side to the anode", "edge to the anode", "flat" …', complete_pose),
    ("volts", "AMOUNT", 'The most the supply gives: "12 V".', None),
    ("amps", "AMOUNT", 'The most the supply gives: "5 A".', None),
    ("target", "LENGTH", 'Thickness at the thinnest spot that counts: "8 um", which is usual.', None),
    ("current", "AMOUNT", 'Plate at this current: "1.2 A"; else it is recommended.', None),
    ("title", "TEXT", "What the plan is headed with; names the job file too.", None),
)
NAMES = tuple(name for name, *_ in _OPTIONS)


def answer_options(command: F) -> F:
    """Give a command every option that is an answer."""
    for name, metavar, text, complete in reversed(_OPTIONS):
        many = name == "hole"
        option = click.option(
            f"--{name}", cls=AnswerOption, metavar=metavar, help=text, multiple=many, shell_complete=complete
        )
        command = option(command)
    return command


def taken(options: dict[str, Any]) -> dict[str, str | list[str]]:
    """Take the answers that were given out of the options of a command."""
    found: dict[str, str | list[str]] = {}
    for name in NAMES:
        value = options.pop(name)
        if value:
            found[name] = list(value) if name == "hole" else value
    return found


def as_option(answer: str, part: str | None = None) -> str:
    """Return what a mistake of an answer points at on the command line."""
    return part if answer == "part" and part else f"--{answer}" if answer in (*NAMES, "tables") else answer
