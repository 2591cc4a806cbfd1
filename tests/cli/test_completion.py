"""``geom completion``: what it prints completes in a real shell."""

import os
import select
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from geom.cli.answer_options import complete_pose
from geom.cli.main import commands
from geom.job.setup import POSES

ROOT = Path(__file__).parents[2]
BASH = shutil.which("bash")
needs_bash = pytest.mark.skipif(BASH is None or os.name == "nt", reason="no bash is installed here")


@pytest.fixture
def shell(tmp_path: Path) -> dict[str, str]:
    """Return an environment in which `geom` is this program, and a folder with jobs to complete."""
    program = tmp_path / "bin" / "geom"
    program.parent.mkdir()
    program.write_text(f'#!{BASH}\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m geom "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    for name in ("link.toml", "other job.toml"):
        (tmp_path / name).write_text("", encoding="utf-8")
    return {**os.environ, "PATH": f"{program.parent}{os.pathsep}{os.environ['PATH']}", "TERM": "dumb"}


def completed(shell: dict[str, str], lines: list[list[str]]) -> list[list[str]]:
    """Return what bash offers after each line, its last word begun."""
    script = ['eval "$(geom completion bash)"', "complete -p geom > /dev/null || exit 1"]
    for words in lines:
        quoted = " ".join(f"'{word}'" for word in ["geom", *words])
        script += [f"COMP_WORDS=({quoted}); COMP_CWORD={len(words)}; COMPREPLY=()"]
        script += ["_geom_completion geom 2>/dev/null", "printf '%s\\t' \"${COMPREPLY[@]}\"; echo"]
    assert BASH is not None
    done = subprocess.run(
        [BASH, "--norc", "-c", "\n".join(script)],
        env=shell,
        capture_output=True,
        text=True,
        check=True,
        encoding="utf-8",
    )
    return [line.rstrip("\t").split("\t") for line in done.stdout.splitlines()]


@needs_bash
def test_bash_completes_commands_options_and_the_words_of_options(shell: dict[str, str]):
    lines = [["pl"], ["plan", "--ba"], ["plan", "--bath", "wa"], ["baths", "acid-c"], ["plan", "--anodes", ""]]
    poses, *found = completed(shell, [["plan", "--pose", "up"], *lines])
    assert found == [
        ["plan"],
        ["--bar", "--bath"],
        ["watts-nickel"],
        ["acid-copper", "acid-copper-high-throw"],
        ["one", "both"],
    ]
    assert len(poses) == sum(name.startswith("up") for name in POSES)
    assert not any(" " in word for word in poses)  # bash would part it there


@needs_bash
def test_bash_completes_files_as_it_does_for_any_program(shell: dict[str, str], tmp_path: Path):
    """Files are left to readline, so the key is pressed in a terminal."""
    import pty

    assert BASH is not None
    process, terminal = pty.fork()
    if process == 0:
        os.chdir(tmp_path)
        os.execve(BASH, [BASH, "--norc", "--noprofile", "-i"], {**shell, "PS1": "> ", "HISTFILE": ""})
    seen = b""

    def until(word: bytes) -> None:
        nonlocal seen
        while word not in seen and select.select([terminal], [], [], 30)[0]:
            seen += os.read(terminal, 4096)
        assert word in seen, seen
        seen = b""

    until(b"> ")
    os.write(terminal, b'eval "$(geom completion bash)"; echo re""ady\n')
    until(b"ready\r\n")
    os.write(terminal, b"geom plan li\t")
    until(b"link.toml ")
    os.write(terminal, b"--quiet --out oth\t")
    until(b"other\\ job.toml")
    os.write(terminal, b"\x15exit\n")
    os.waitpid(process, 0)
    os.close(terminal)


@pytest.mark.parametrize("name", ["bash", "zsh", "fish"])
def test_each_shell_can_read_its_script(name: str):
    program = shutil.which(name)
    if program is None:
        pytest.skip(f"no {name} is installed here")
    script = CliRunner().invoke(commands, ["completion", name]).stdout
    assert "_GEOM_COMPLETE" in script
    done = subprocess.run([program, "-n"], input=script, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_shell_that_is_not_known_is_bad_input():
    result = CliRunner().invoke(commands, ["completion", "csh"])
    assert result.exit_code == 2
    assert "'bash', 'zsh', 'fish'" in result.stderr


@pytest.mark.parametrize("pose", POSES)
def test_a_pose_as_it_is_completed_is_the_pose(pose: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    offered = [item.value for item in complete_pose(click.Context(commands), commands.params[0], "")]
    (word,) = [one for one in offered if one.split("-") == pose.replace(",", "").split()]
    monkeypatch.chdir(tmp_path)
    for number, words in enumerate((pose, word)):
        done = CliRunner().invoke(commands, ["new", f"{number}.toml", "--bar", "30 x 20 x 3 mm", "--pose", words])
        assert done.exit_code == 0
    assert (tmp_path / "0.toml").read_text() == (tmp_path / "1.toml").read_text()
