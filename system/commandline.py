"""What every command shares: its options, its exit statuses, how it reads a kit and what it is asked for."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer
from typer.core import TyperGroup

from system import completion
from system.sheets.showing import say, say_data

if TYPE_CHECKING:
    from system.findings import KitError
    from system.kit import Kit, Variant

GROUPS = {  # how the help lists the commands
    "Receive": ("start", "proofread", "characterise"),
    "Predict": ("predict", "compare", "limits"),
    "Choose": ("protect", "parts", "stress", "swap", "revalue", "spread"),
    "Build": ("buildsheet", "report"),
    "Prove": ("expect", "verify", "symptom"),
    "Reference": ("schema", "explain"),
}
FIRST_SCREEN = "overview"  # what `kitwright KIT.yaml` alone runs


class _Commands(TyperGroup):
    """Lists the commands by what they are for; a kit file in the place of one means the first screen."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        if args[0] not in self.commands and completion.is_kit(args[0]):
            args = [FIRST_SCREEN, *args]
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        for title, names in GROUPS.items():
            with formatter.section(title):
                formatter.write_dl([(name, self.commands[name].get_short_help_str(90)) for name in names])


app = typer.Typer(
    cls=_Commands,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
    help="Works out a loudspeaker kit: what each cabinet variant will do, what gives first, what protects its woofers,"
    " which parts to fit.\n\n`kitwright KIT.yaml` alone shows every variant on one screen.",
)

KitFile = Annotated[Path, typer.Argument(metavar="KIT.yaml", help="The kit file.", show_default=False)]
Variants = Annotated[
    list[str] | None,
    typer.Option(
        "--variant",
        metavar="NAME",
        help="Only this variant; may be given again.",
        autocompletion=completion.variants,
    ),
]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="PATH=VALUE",
        help="What if: replace a value of the kit file; may be given again.",
        autocompletion=completion.settings,
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="JSON on standard output.")]
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FILE", help="Write to FILE: .svg, .png, .pdf a picture; .txt, .json text."),
]
Seed = Annotated[int, typer.Option(metavar="N", help="Seed of what is drawn at random.")]
Force = Annotated[bool, typer.Option("--force", help="Replace files that are there already.")]
Volts = Annotated[float, typer.Option(metavar="V", help="Volts rms at the amplifier's output.")]
From = Annotated[float | None, typer.Option("--from", metavar="HZ", help="Lowest frequency. [default: 20]")]
To = Annotated[float | None, typer.Option("--to", metavar="HZ", help="Highest frequency. [default: 20000]")]
Points = Annotated[int | None, typer.Option(metavar="N", help="Number of frequencies. [default: 400]")]
Frequencies = Annotated[
    str | None, typer.Option(metavar="FILE", help="Frequencies from a file, one in Hz a line; - for standard input.")
]
CsvFolder = Annotated[Path | None, typer.Option("--csv", metavar="FOLDER", help="Also write CSV files.")]


def command(function: Callable[..., None]) -> Callable[..., None]:
    """Give a command the exit statuses of the program: 2 for bad input, 70 for a fault of ours, 130 interrupted."""

    @functools.wraps(function)
    def run(*args: Any, **kwargs: Any) -> None:
        from system.findings import KitError

        try:
            function(*args, **kwargs)
        except KitError as error:
            refuse(error, kwargs.get("as_json", False))
        except KeyboardInterrupt:
            raise typer.Exit(130) from None
        except (typer.Exit, BrokenPipeError):
            raise
        except Exception as error:  # noqa: BLE001  # whatever it is, it is told in one line
            where = error.__traceback__
            while where and where.tb_next:
                where = where.tb_next
            line = f" ({Path(where.tb_frame.f_code.co_filename).name}:{where.tb_lineno})" if where else ""
            say(f"kitwright: a fault of ours, not of your input: {type(error).__name__}: {error}{line}")
            raise typer.Exit(70) from None

    return run


def refuse(error: KitError, as_json: bool) -> NoReturn:
    for finding in error.findings:
        say(finding.text())
    if as_json:
        from system.sheets.data import document

        say_data(document(error.kit, error.findings))
    raise typer.Exit(2)


def load(kit: Path, settings: Sequence[str] | None) -> Kit:
    from system.kitfile import load_kit

    return load_kit(kit, tuple(settings or ()))


def chosen(kit: Kit, names: Sequence[str] | None) -> list[Variant]:
    """The variants asked for, in the order of the file, or all of them."""
    from system.findings import usage_error

    unknown = [name for name in names or () if name not in kit.variants]
    if unknown:
        raise usage_error(f"--variant {', '.join(unknown)}", f"the kit's variants: {', '.join(kit.variants)}")
    return [variant for name, variant in kit.variants.items() if not names or name in names]


def asked_frequencies(source: str | None, start: float | None, stop: float | None, points: int | None) -> Any:
    """The grid asked for, or None where nothing was said."""
    from system import grid
    from system.findings import usage_error

    given = (start, stop, points)
    if source is not None:
        if any(value is not None for value in given):
            raise usage_error("--frequencies together with --from, --to or --points", "one or the other")
        return grid.listed(source)
    if all(value is None for value in given):
        return None
    return grid.logarithmic(
        20.0 if start is None else start, 20e3 if stop is None else stop, 400 if points is None else points
    )


def checked_volts(value: float) -> float:
    from system.findings import usage_error

    if not 1e-6 <= value <= 1000:
        raise usage_error(f"--volts {value:g}", "above 0, up to 1000 V rms")
    return value


@app.callback(invoke_without_command=True)
def _options(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Show the version and stop.")] = False,
) -> None:
    if version:
        from importlib import metadata

        try:
            installed = metadata.version("kitwright")
        except metadata.PackageNotFoundError:
            installed = "from a checkout that is not installed"
        say_data(f"kitwright {installed}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        say_data(context.get_help())
