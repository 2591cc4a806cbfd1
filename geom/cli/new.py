"""``geom new``: a commented job file from a few questions, or from options without any."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import click

from geom.cli.composed import Answers, check_free, composed_job, is_part_file, plain_path, say_assumed, write_job
from geom.errors import GeomError, JobError, OutputError

if TYPE_CHECKING:  # at run time it is read only when the command runs
    from geom.cli.composed import ComposedJob

Given = dict[str, str | list[str]]


class Ended(Exception):
    """There are no more lines to answer with."""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to ask: the answer goes by ``name``; a blank one takes what ``usual`` says, which may be nothing."""

    name: str
    text: str
    usual: str = ""
    example: str = ""


PART = Question("kind", "What is the part: a bar, a rod, or the name of a mesh or drawing", "bar")
SHAPES = {
    "bar": Question("bar", "Length x width x thickness", "", "100 x 20 x 3 mm"),
    "rod": Question("rod", "Diameter x length", "", "8 x 60 mm"),
}
HOLE = Question("hole", "A hole: diameter at place along, across from the middle; blank: no more", "", "8 mm at -30,0")
UNIT = Question("unit", "Length of one unit of the file", "", "mm")
UNIT_OF_DRAWING = Question("unit", "Length of one unit of the drawing; blank: as it says itself", "", "mm")
THICKNESS = Question("thickness", "Thickness of the metal", "", "2 mm")
REST = (
    Question("bath", "Bath, as geom baths lists them", "watts-nickel"),
    Question("target", "Thickness at the thinnest spot that counts", "8 um"),
    Question(
        "tank",
        "Tank inside: length x width x depth of liquid; blank: by the size of the part",
        "",
        "200 x 120 x 160 mm",
    ),
    Question("anode", "Anode: thickness x width x height; blank: by the size of the part", "", "2 x 80 x 120 mm"),
    Question("anodes", "Anodes on one side, or on both sides", "one side"),
    Question("distance", "Gap from anode to part; blank: as the tank allows", "", "60 mm"),
    Question("pose", "How it hangs", "upright, broad side to the anode"),
    Question("stirred", "Is the bath stirred, yes or no; blank: not known", "", "yes"),
    Question("volts", "The most volts the supply gives; blank: not known", "", "12 V"),
    Question("amps", "The most amps the supply gives; blank: not known", "", "5 A"),
    Question("title", "Title; blank: after the part"),
)
UNIT_INSIDE = (".3mf", ".step", ".stp")


def run(
    file: str | None, *, part: str | None, answers: Answers, force: bool, as_json: bool, quiet: bool, tables: str | None
) -> int:
    """Write a job file and say its name; return the exit code."""
    target = None if file is None else _target(file)
    if target is not None and not force:
        _check_new(target)
    given, named = dict(answers), part
    if not answers and part is None:
        given, named = _asked(target)
    folder = Path() if target is None else target.parent
    job = composed_job(named, given, folder=folder, tables=tables, name=None if target is None else target.name)
    if not force:
        _check_new(job.path)
    write_job(job.path, job.composed.text, force=force)
    _say(job, as_json=as_json, quiet=quiet)
    return 0


def _target(file: str) -> Path:
    """Return where the job file goes."""
    path = Path(file)
    if is_part_file(file):
        text = "this names a mesh or a drawing; what is written is a job, a .toml file"
        hint = f"geom new --part {path.name} --unit mm writes a job for it"
        raise OutputError("job-file-unwritten", text, where=plain_path(path), hint=hint)
    return path if path.suffix.lower() == ".toml" else path.with_name(f"{path.name}.toml")


def _check_new(path: Path) -> None:
    """Refuse to write over anything, whatever it says."""
    if path.is_file():
        text = "there is a file of that name already"
        hint = "name another one, as in  geom new other.toml; --force replaces it"
        raise OutputError("job-file-there", text, where=plain_path(path), hint=hint)
    check_free(path, "", force=False)


def _say(job: "ComposedJob", *, as_json: bool, quiet: bool) -> None:
    if as_json:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        tree = {"schema_version": SCHEMA_VERSION, "file": str(job.path), "assumed": list(job.composed.assumed)}
        click.echo(dumped({**tree, "text": job.composed.text}), nl=False)
    if not quiet:
        say_assumed(job.composed)
        name = plain_path(job.path)
        click.echo(f"job file {name}: look it over, then  geom plan {name}", err=True)


# asking


def _asked(target: Path | None) -> tuple[Given, str | None]:
    """Return the answers of a person, or of a pipe; the file of the part is named apart."""
    talk = Talk(sys.stdin.isatty())
    talk.say("A job file from a few answers. Enter takes what stands in brackets; Ctrl-C leaves nothing.")
    try:
        _ask_part(talk)
        for question in REST:
            _ask(question, talk)
    except Ended:
        if talk.is_person:  # Ctrl-D
            raise KeyboardInterrupt from None
    return talk.given, talk.part


@dataclass
class Talk:
    """What was answered so far. A pipe is asked nothing aloud, and told its mistakes at the end, all at once."""

    is_person: bool
    given: Given = field(default_factory=dict)
    part: str | None = None

    def say(self, text: str, *, ends: bool = True) -> None:
        """Print on stderr, so that stdout stays clean; names of files may hold orders to the terminal."""
        if self.is_person:
            from geom.report.tree import printable

            click.echo(printable(text), nl=ends, err=True)

    def line(self, question: Question) -> str:
        """Return one line of answer."""
        shown = (
            f" [{question.usual}]" if question.usual else f" (such as {question.example})" if question.example else ""
        )
        self.say(f"{question.text}{shown}: ", ends=False)
        line = sys.stdin.readline()
        if not line:
            self.say("")
            raise Ended
        return line.strip()

    def mistakes(self) -> tuple[GeomError, ...]:
        """Return what is wrong with the answers so far, where there is a person to tell it to."""
        if not self.is_person:
            return ()
        try:
            composed_job(self.part, self.given, folder=Path(), tables=None)
        except JobError as error:
            return error.mistakes or (error,)
        return ()

    def tells_wrong(self, where: str, before: Sequence[GeomError]) -> bool:
        """Tell what is wrong with an answer, or became so by it; is anything?"""
        known = {(mistake.where, mistake.slug) for mistake in before}
        wrong = [m for m in self.mistakes() if m.where == where or (m.where, m.slug) not in known]
        for mistake in wrong:
            self.say(f"  {mistake.message}{f'; {mistake.hint}' if mistake.hint else ''}")
        return bool(wrong)


def _ask_part(talk: Talk) -> None:
    """Ask what the part is, until it is known."""
    while True:
        kind = talk.line(PART) or PART.usual
        word = kind.casefold()
        if word in SHAPES:
            _ask(SHAPES[word], talk)
            if word == "bar":
                _ask_holes(talk)
            return
        if is_part_file(kind):
            talk.part = kind
            wrong = [mistake for mistake in talk.mistakes() if mistake.where == kind]
            if not wrong:
                return _ask_file(kind, talk)
            talk.part = None
            talk.say(f"  {wrong[0].message}; {wrong[0].hint}")
            continue
        text = f'"{plain_path(Path(kind[:60]))}" is no bar, no rod and no file of a part'
        hint = "say bar, rod, or a name such as clamp.stl"
        if not talk.is_person:
            raise JobError("job-answer-word", text, where="the first line", hint=hint)
        talk.say(f"  {text}: {hint}")


def _ask_file(name: str, talk: Talk) -> None:
    """Ask what a file does not say itself."""
    suffix = Path(name).suffix.lower()
    if suffix in (".dxf", ".svg"):
        _ask(THICKNESS, talk)
        _ask(UNIT_OF_DRAWING, talk)
    elif suffix not in UNIT_INSIDE:
        _ask(UNIT, talk)


def _ask_holes(talk: Talk) -> None:
    """Ask for holes until there are no more."""
    holes: list[str] = []
    while line := talk.line(HOLE):
        before = talk.mistakes()
        talk.given["hole"] = [*holes, line]
        if not talk.tells_wrong("--hole", before):
            holes.append(line)
        talk.given["hole"] = list(holes)


def _ask(question: Question, talk: Talk) -> None:
    """Ask until the answer is right; a blank one leaves the value to be assumed, and marked so."""
    before = talk.mistakes()
    while True:
        line = talk.line(question)
        talk.given.pop(question.name, None)
        if line:
            talk.given[question.name] = line
        if not talk.tells_wrong(f"--{question.name}", before):
            return
