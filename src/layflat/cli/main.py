"""The `layflat` command: its groups of commands, and how every ending is told."""

import importlib
import os
import signal
import sys
from collections.abc import Sequence
from types import FrameType

import click

import layflat
from layflat.base import LayflatError, StoppedError

_COMMANDS = {
    "demo": "Run the main job on the invented workshop.",
    "job": "Take one job from its cover to pieces, layout, cut programs and papers.",
    "check": "Say what a scan or a drawing is like and what would be mended.",
    "flatten": "Find the flat film piece for a panel, and what laying it asks of the film.",
    "lay": "Lay a given flat piece on a panel, and say what that asks of the film.",
    "fit": "Say where film is stretched and fingers, and what would help.",
    "frame": "Print the sheets that go round a template before it is photographed.",
    "revise": "Turn fit notes into the next revision of a pattern.",
    "propose": "Start a template from the same panel of another car.",
    "photo": "Turn photographs of a template inside that frame into a drawing.",
    "strip": "Turn a strip test with weights and a tape into a film file.",
    "pack": "Pack a vehicle's shapes into a signed archive for another shop.",
    "unpack": "Check such an archive and write out its files.",
    "nest": "Lay pieces out on a roll.",
    "week": "Share several jobs' pieces out over rolls and offcuts at the least cost.",
    "serve": "Start the workshop app.",
    "backup": "Write a running shop into one file.",
    "restore": "Put a backup into an empty data folder.",
    "cut": "Turn a layout into a cut program, checked by simulating the knife.",
    "send": "Send a cut program to the machine, with pause, stop and resume.",
    "calibrate": "Cut a calibration sheet; turn its readings into a machine file.",
    "recover": "Say after a stop what is whole, and lay out the rest again.",
}
_STOPPED = "Stopped; nothing was written."


class _Lazy(click.Group):
    """Commands are imported when they are called: `layflat --version` answers at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _COMMANDS:
            return None
        command = importlib.import_module(f"layflat.cli.{cmd_name}").command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


@click.group(
    cls=_Lazy,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    epilog="Exit codes: 0 done · 2 something handed in cannot be used, or a result cannot be "
    "written · 3 a result failed its own check and was not handed out · 130 stopped · "
    "1 a fault of Layflat's own. Errors are one sentence on stderr.",
)
@click.version_option(layflat.__version__, "-V", "--version", message="layflat %(version)s")
def layflat_command() -> None:
    """From a scanned panel to film that fits.

    \b
    Start here:
      layflat demo -o demo-out          see the whole job on invented vehicles
      layflat job JOB.toml -o FOLDER    your own job
    """


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line on *arguments* (the process's own by default); the exit code."""
    signal.signal(signal.SIGTERM, _as_interrupt)
    try:
        layflat_command.main(
            args=None if arguments is None else list(arguments),
            prog_name="layflat",
            standalone_mode=False,
        )
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help())
        return 2
    except click.UsageError as error:
        hint = f" See “{error.ctx.command_path} --help”." if error.ctx is not None else ""
        return _fail(f"{error.format_message()}{hint}", 2)
    except LayflatError as error:
        return _fail(_STOPPED if isinstance(error, StoppedError) else str(error), error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        return _fail(_STOPPED, StoppedError.exit_code)
    except MemoryError:
        return _fail("There is not enough memory for this; a coarser mesh needs less.", 2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _fail(sentence: str, code: int) -> int:
    click.echo(f"layflat: {sentence}", err=True)
    return code


def _as_interrupt(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
