"""The command line: every command, and how errors end."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from fieldworthy import __version__
from fieldworthy.cli.interruption import INTERRUPTED

app = typer.Typer(
    name="fieldworthy",
    help="What a competition robot will do at its next event, computed from one description of it.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

RobotFile = Annotated[Path, typer.Argument(help="The robot file (YAML).")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
OutFile = Annotated[Path | None, typer.Option("-o", "--out", help="File to write; printed where not given.")]
Date = Annotated[str, typer.Option(help="Date on the document, such as 2026-11-25; none where not given.")]
Seed = Annotated[int, typer.Option(min=0, max=2**64 - 1, help="Fixes the random draws: same seed, same output.")]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fieldworthy {__version__}")
        raise typer.Exit


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """What a competition robot will do at its next event, computed from one description of it."""
    del version


@app.command()
def check(  # noqa: PLR0913, PLR0917  the command library reads options from parameters
    robot: RobotFile,
    samples: Annotated[
        int, typer.Option(min=0, max=10_000_000, help="Samples of the tolerances for the chances.")
    ] = 1000,
    seed: Seed = 0,
    as_json: AsJson = False,
    every: Annotated[
        bool, typer.Option("--all", help="Show every check with its inputs, sources and assumptions.")
    ] = False,
    remedies: Annotated[bool, typer.Option("--remedies", help="Say which single changes mend what is short.")] = False,
    only: Annotated[
        str, typer.Option(help="Show what is about one thing: climb, balance.tip, a mechanism's name.")
    ] = "",
    exit_zero: Annotated[
        bool, typer.Option("--exit-zero", help="End with status 0 though something is short.")
    ] = False,
) -> None:
    """Say what will not work on a robot, by how much, and how sure that is."""
    from fieldworthy.cli.checking import CheckOptions, run_check  # noqa: PLC0415

    short = run_check(robot, CheckOptions(samples, seed, every, remedies, only), as_json=as_json)
    raise typer.Exit(1 if short and not exit_zero else 0)


@app.command()
def match(
    robot: RobotFile,
    runs: Annotated[int, typer.Option(min=1, max=100_000_000, help="Matches to play.")] = 2000,
    seed: Seed = 0,
    part: Annotated[str, typer.Option(help="whole, autonomous, driven or solo.")] = "whole",
    as_json: AsJson = False,
    table: Annotated[Path | None, typer.Option("--csv", help="Write the timeline to this CSV file.")] = None,
    sensitivity: Annotated[bool, typer.Option("--sensitivity", help="Say which inputs move the points most.")] = False,
) -> None:
    """Forecast a match: one timeline, the spread of points over many matches, and what limits them."""
    from fieldworthy.cli.matching import MatchOptions, run_match  # noqa: PLC0415

    done = run_match(robot, MatchOptions(runs, seed, part, sensitivity), as_json=as_json, table=table)
    raise typer.Exit(0 if done else INTERRUPTED)


@app.command()
def compare(
    robots: Annotated[list[Path], typer.Argument(help="Two robot files or more (YAML).")],
    runs: Annotated[int, typer.Option(min=2, max=1_000_000, help="Matches that each plays.")] = 2000,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Compare variants: who scores more and how sure that is, what changes, and whether there is time to build it."""
    from fieldworthy.cli.matching import run_compare  # noqa: PLC0415

    raise typer.Exit(0 if run_compare(robots, runs, seed, as_json=as_json) else INTERRUPTED)


@app.command()
def search(
    robot: RobotFile,
    vary: Annotated[list[str] | None, typer.Option(help="Key that may vary; '?' lists them all. Repeat it.")] = None,
) -> None:
    """Search ranges and choices for the best robot within the season's limits."""
    from fieldworthy.cli.searching import list_varying  # noqa: PLC0415

    if vary and vary[0].endswith("?"):
        list_varying(robot, vary[0].removesuffix("?"))


@app.command()
def new(  # noqa: PLR0913, PLR0917  every option of a command is a parameter of its function
    file: Annotated[Path, typer.Argument(help="The robot file to write.")] = Path("robot.yaml"),
    name: Annotated[str | None, typer.Option(help="What the robot is called.")] = None,
    season: Annotated[str | None, typer.Option(help="Season file in the same folder; written if missing.")] = None,
    units: Annotated[str | None, typer.Option(help="metric or inch.")] = None,
    motor: Annotated[str | None, typer.Option(help="Class of the drive motors.")] = None,
    motors: Annotated[int | None, typer.Option(help="Number of drive motors.")] = None,
    wheels: Annotated[int | None, typer.Option(help="Number of drive wheels, both sides together.")] = None,
    wheel_size: Annotated[str | None, typer.Option(help="Their diameter, such as '2.75 in'.")] = None,
    gearing: Annotated[str | None, typer.Option(help="Teeth motor:wheel, such as 48:60, or direct.")] = None,
    mass: Annotated[str | None, typer.Option(help="Of the whole robot, such as '6.5 kg'.")] = None,
    length: Annotated[str | None, typer.Option(help="Such as '400 mm'.")] = None,
    width: Annotated[str | None, typer.Option(help="Such as '380 mm'.")] = None,
    height: Annotated[str | None, typer.Option(help="Such as '350 mm'.")] = None,
    tanks: Annotated[int | None, typer.Option(help="Number of air tanks, 0 for none.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over an existing robot file.")] = False,
) -> None:
    """Write a first robot file with comments; asks on a terminal what the options leave open."""
    from fieldworthy.cli.newfile import Options, run_new  # noqa: PLC0415

    sizes = (length, width, height)
    given = Options(name, season, units, motor, motors, wheels, wheel_size, gearing, mass, *sizes, tanks)
    run_new(file, given, force=force)


@app.command()
def export(
    robot: RobotFile,
    to: Annotated[str, typer.Option("--to", help="json, c, python, csv or urdf.")] = "json",
    out: OutFile = None,
) -> None:
    """Write the tuned constants for the robot's own program, or its bodies for a physics engine."""
    from fieldworthy.cli.exporting import run_export  # noqa: PLC0415

    run_export(robot, to, out)


@app.command()
def parts(
    robot: RobotFile,
    out: OutFile = None,
    table: Annotated[Path | None, typer.Option("--from", help="Take in this CSV file or spreadsheet.")] = None,
    columns: Annotated[
        list[str] | None, typer.Option(help="Which head a column comes from, such as 'mass=Mass (g)'; repeat it.")
    ] = None,
) -> None:
    """Write the parts list as CSV or spreadsheet, with totals; take in one that another program wrote."""
    from fieldworthy.cli.exporting import run_parts  # noqa: PLC0415

    run_parts(robot, out, table, columns or [])


@app.command()
def inspect(robot: RobotFile, out: OutFile = None, date: Date = "") -> None:
    """Hold the season's limits against the robot, item by item, with blanks for what is measured by hand."""
    from fieldworthy.cli.reporting import run_inspect  # noqa: PLC0415

    raise typer.Exit(1 if run_inspect(robot, out, date) else 0)


@app.command()
def card(
    robot: RobotFile,
    out: Annotated[Path, typer.Option("-o", "--out", help="PDF or HTML to write.")] = Path("card.pdf"),
    date: Date = "",
    log: Annotated[Path | None, typer.Option("--faults", help="The fault log: what failed is checked first.")] = None,
) -> None:
    """Write the pit card: one page for the two minutes before a match."""
    from fieldworthy.cli.reporting import run_card  # noqa: PLC0415

    run_card(robot, out, date, log)


@app.command("open")
def open_(
    folder: Annotated[Path, typer.Argument(help="The folder with the robot files.")] = Path(),
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="Port; the next free one if it is taken.")] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Print the address and open no browser.")] = False,
    share: Annotated[bool, typer.Option("--share", help="Let others in the network look, by a code.")] = False,
    allow_changes: Annotated[
        bool, typer.Option("--allow-changes", help="With --share: let them change files.")
    ] = False,
) -> None:
    """Open the page: describe, check and compare robots in a browser, on this machine alone."""
    from fieldworthy.web import Options, serve  # noqa: PLC0415

    options = Options(port, not no_browser, share, allow_changes)
    serve(folder.parent if folder.is_file() else folder, options, typer.echo)


@app.command()
def report(  # noqa: PLR0913, PLR0917  every option of a command is a parameter of its function
    robots: Annotated[list[Path], typer.Argument(help="The robot file (YAML); after --compare, variants too.")],
    out: Annotated[Path, typer.Option("-o", "--out", help="PDF or HTML to write.")] = Path("notebook.pdf"),
    date: Date = "",
    job: Annotated[str, typer.Option(help="What the notebook is for, in a sentence, for the cover.")] = "",
    runs: Annotated[int, typer.Option(min=2, max=1_000_000, help="Matches of the forecast.")] = 2000,
    seed: Seed = 0,
    mend: Annotated[bool, typer.Option("--remedies", help="Say which single changes mend what is short.")] = False,
    since: Annotated[Path | None, typer.Option(help="An older revision: add what changed since.")] = None,
    against: Annotated[
        list[Path] | None, typer.Option("--compare", help="Variants to decide between, one behind the other.")
    ] = None,
    weights: Annotated[str, typer.Option(help="What counts how much in the decision: 'points=3,hours=1'.")] = "",
    reader: Annotated[
        Literal["team", "judges"], typer.Option("--for", help="The whole notebook, or two pages for the judges.")
    ] = "team",
) -> None:
    """Write the engineering notebook: the reasoning about the robot, page by page, as PDF or HTML."""
    from fieldworthy.cli.reporting import run_report, weights_of  # noqa: PLC0415
    from fieldworthy.report.making import Wanted  # noqa: PLC0415

    robot, *more = robots  # what follows the first value of --compare comes as an argument
    if more and not against:
        raise typer.BadParameter("expected one robot file; variants follow --compare", param_hint="'ROBOTS...'")
    wanted = Wanted(date, job, runs, seed, mend, weights=weights_of(weights))
    run_report(robot, out, wanted, since, [*(against or []), *more], reader)


@app.command()
def fit(  # noqa: PLR0913, PLR0917  every option of a command is a parameter of its function
    robot: RobotFile,
    measurements: Annotated[Path, typer.Argument(help="The measurements file (YAML).")],
    write: Annotated[
        bool, typer.Option("--write", help="Write the measured values into the robot file; the old one is kept.")
    ] = False,
    as_json: AsJson = False,
    every: Annotated[
        bool, typer.Option("--all", help="Show changed numbers that nothing limits, and sources.")
    ] = False,
    samples: Annotated[int, typer.Option(min=0, max=1_000_000, help="Samples of the tolerances.")] = 1000,
    seed: Seed = 0,
    plots: Annotated[Path | None, typer.Option(help="Write residual plots (SVG) into this folder.")] = None,
) -> None:
    """Fit readings of the real robot: values with intervals, where the file is unlikely, and what that changes."""
    from fieldworthy.cli.measuring import FitOptions, run_fit  # noqa: PLC0415

    run_fit(robot, measurements, FitOptions(as_json, every, write, samples, seed, plots))


@app.command()
def faults(
    robot: RobotFile,
    log: Annotated[Path, typer.Argument(help="The fault log (YAML).")],
    runs: Annotated[int, typer.Option(min=2, max=1_000_000, help="Matches played for each fault.")] = 2000,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Say which fault to mend first: how often each comes and the points that it costs in a match."""
    from fieldworthy.cli.matching import run_faults  # noqa: PLC0415

    run_faults(robot, log, runs, seed, as_json=as_json)


@app.command()
def sheet(
    procedure: Annotated[str | None, typer.Argument(help="Such as scales; --list names them all.")] = None,
    out: Annotated[Path | None, typer.Option("-o", "--out", help="HTML, Markdown or text file to write.")] = None,
    every: Annotated[bool, typer.Option("--list", help="List the procedures.")] = False,
) -> None:
    """Print the sheet of a measuring procedure: what to do in steps, cautions first, blanks to fill."""
    from fieldworthy.cli.measuring import run_sheet  # noqa: PLC0415

    run_sheet(None if every else procedure, out)


@app.command()
def schema(
    what: Annotated[
        str,
        typer.Argument(
            help="robot, season, measurements, faultlog, export, or check, match, compare, fit or faults (with --json)."
        ),
    ],
) -> None:
    """Print a JSON Schema, so that an editor completes and checks the file."""
    from fieldworthy.cli.schemas import print_schema  # noqa: PLC0415

    print_schema(what)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line."""
    from fieldworthy.cli.ending import orderly  # noqa: PLC0415
    from fieldworthy.files.problems import BadInput  # noqa: PLC0415

    with orderly():
        try:
            _told(arguments)
        except BadInput as error:
            sys.stderr.write(f"{error}\n")
            raise SystemExit(2) from None
        except KeyboardInterrupt:
            sys.stderr.write("interrupted\n")
            raise SystemExit(INTERRUPTED) from None


def _told(arguments: list[str] | None) -> None:
    """Run a command; the command library makes a bare status of an interruption."""
    try:
        app(args=arguments)
    except SystemExit as ended:
        cause = ended.__context__
        if isinstance(cause, KeyboardInterrupt) or isinstance(getattr(cause, "__cause__", None), KeyboardInterrupt):
            raise KeyboardInterrupt from None
        raise
