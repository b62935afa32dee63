"""The command line: every command, and how errors end."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from fieldworthy import __version__
from fieldworthy.cli.ending import INTERRUPTED

app = typer.Typer(
    name="fieldworthy",
    help="Compute from one description what a competition robot will do at its next event.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

RobotFile = Annotated[Path, typer.Argument(help="Read this robot file (YAML).")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
OutFile = Annotated[
    Path | None, typer.Option("-o", "--out", metavar="<file>", help="Write to this file instead of printing.")
]
Date = Annotated[str, typer.Option(metavar="<text>", help="Date the document, such as 2026-11-25.")]
Seed = Annotated[
    int,
    typer.Option(
        min=0, max=2**64 - 1, metavar="<number>", help="Fix the random draws: the same seed gives the same output."
    ),
]


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
    """Compute from one description what a competition robot will do at its next event."""
    del version


@app.command()
def check(  # noqa: PLR0913, PLR0917  the command library reads options from parameters
    robot: RobotFile,
    samples: Annotated[
        int, typer.Option(min=0, max=10_000_000, metavar="<number>", help="Draw so many robots within the tolerances.")
    ] = 1000,
    seed: Seed = 0,
    as_json: AsJson = False,
    every: Annotated[
        bool, typer.Option("--all", help="Show every check with its inputs, sources and assumptions.")
    ] = False,
    remedies: Annotated[bool, typer.Option("--remedies", help="Say which changes mend what is short.")] = False,
    only: Annotated[
        str, typer.Option(metavar="<text>", help="Show only what is about climb, balance.tip or a mechanism.")
    ] = "",
    exit_zero: Annotated[
        bool, typer.Option("--exit-zero", help="End with status 0 even where something is short.")
    ] = False,
) -> None:
    """Say what will not work on a robot, and how to mend it.

    The causes come first, then what is close, and what cannot be judged. Status 1 says that something is short.
    """
    from fieldworthy.cli.checking import CheckOptions, run_check  # noqa: PLC0415

    short = run_check(robot, CheckOptions(samples, seed, every, remedies, only), as_json=as_json)
    raise typer.Exit(1 if short and not exit_zero else 0)


Accuracy = Annotated[
    float | None,
    typer.Option(min=0.01, metavar="<number>", help="Play until the mean is known to this standard error, in points."),
]
Seconds = Annotated[
    float | None, typer.Option(min=0.5, metavar="<number>", help="Stop after so many seconds, with --accuracy.")
]


@app.command()
def match(  # noqa: PLR0913, PLR0917  the command library reads options from parameters
    robot: RobotFile,
    runs: Annotated[int, typer.Option(min=1, max=100_000_000, metavar="<number>", help="Play so many matches.")] = 2000,
    seed: Seed = 0,
    part: Annotated[
        str, typer.Option(metavar="<text>", help="Play this part: whole, autonomous, driven or solo.")
    ] = "whole",
    as_json: AsJson = False,
    table: Annotated[
        Path | None, typer.Option("--csv", metavar="<file>", help="Write the timeline to this CSV file.")
    ] = None,
    accuracy: Accuracy = None,
    seconds: Seconds = None,
    sensitivity: Annotated[bool, typer.Option("--sensitivity", help="Say which inputs move the points most.")] = False,
) -> None:
    """Forecast a match: points, their spread, and what limits them."""
    from fieldworthy.cli.matching import MatchOptions, run_match  # noqa: PLC0415

    done = run_match(
        robot, MatchOptions(runs, seed, part, sensitivity, accuracy, seconds), as_json=as_json, table=table
    )
    raise typer.Exit(0 if done else INTERRUPTED)


@app.command()
def compare(
    robots: Annotated[list[Path], typer.Argument(help="Read these robot files (YAML), two or more.")],
    runs: Annotated[
        int, typer.Option(min=2, max=1_000_000, metavar="<number>", help="Play so many matches with each.")
    ] = 2000,
    seed: Seed = 0,
    accuracy: Accuracy = None,
    seconds: Seconds = None,
    as_json: AsJson = False,
) -> None:
    """Say which variant scores more, and how sure that is.

    It also says what changes with it, and whether there is time to build it.
    """
    from fieldworthy.cli.matching import Playing, run_compare  # noqa: PLC0415

    asked = Playing(runs, seed, accuracy, seconds)
    raise typer.Exit(0 if run_compare(robots, asked, as_json=as_json) else INTERRUPTED)


@app.command()
def search(  # noqa: PLR0913, PLR0917  every option of a command is a parameter of its function
    robot: RobotFile,
    file: Annotated[
        Path | None, typer.Argument(help="Read what to search from this file (YAML); options may say it too.")
    ] = None,
    vary: Annotated[
        list[str] | None, typer.Option(metavar="<text>", help="Let this key vary; '?' lists them all. Repeat it.")
    ] = None,
    between: Annotated[
        list[str] | None,
        typer.Option(metavar="<text>", help="Keep a key in this range, such as 'drive.braking=0.4..1'."),
    ] = None,
    values: Annotated[
        list[str] | None, typer.Option(metavar="<text>", help="Try only these values of a key: 'drive.motors=4|6'.")
    ] = None,
    want: Annotated[
        list[str] | None,
        typer.Option(metavar="<text>", help="Want points, mass, hours, air left or a finding; repeat it."),
    ] = None,
    must: Annotated[
        list[str] | None,
        typer.Option(metavar="<text>", help="Ask that this finding holds; the beginning of its id will do."),
    ] = None,
    chance: Annotated[
        float | None, typer.Option(metavar="<number>", help="Ask that it holds with this chance; 0.95 where not given.")
    ] = None,
    free: Annotated[bool, typer.Option("--free", help="Let what holds now become short.")] = False,
    part: Annotated[
        str, typer.Option(metavar="<text>", help="Play this part: whole, autonomous, driven or solo.")
    ] = "whole",
    candidates: Annotated[
        int, typer.Option(min=0, max=10_000_000, metavar="<number>", help="Try so many candidates at most.")
    ] = 2000,
    minutes: Annotated[
        float | None, typer.Option(min=0.0, metavar="<number>", help="Search so many minutes at most.")
    ] = None,
    runs: Annotated[
        int, typer.Option(min=10, max=1_000_000, metavar="<number>", help="Play the best again in so many matches.")
    ] = 4000,
    seed: Seed = 0,
    state: Annotated[
        Path | None,
        typer.Option(metavar="<file>", help="Keep the state in this file, so that a stopped search goes on."),
    ] = None,
    workers: Annotated[
        str,
        typer.Option(
            metavar="<text>", help="Use so many processes, all cores where not given, or a tcp address of a cluster."
        ),
    ] = "",
    write: Annotated[Path | None, typer.Option(metavar="<file>", help="Write the best robot into this file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Search ranges and choices for the best robot in the limits."""
    from fieldworthy.cli.searching import SearchOptions, list_varying, run_search  # noqa: PLC0415
    from fieldworthy.decide.search import Budget, How  # noqa: PLC0415

    if vary and vary[0].endswith("?"):
        list_varying(robot, vary[0].removesuffix("?"))
        return
    how = How(Budget(candidates, minutes), seed, runs, state, workers or str(os.cpu_count() or 1))
    told = (vary or (), between or (), values or (), want or (), must or ())
    options = SearchOptions(*told, chance, not free, part, how, write)
    raise typer.Exit(0 if run_search(robot, file, options, as_json=as_json) else INTERRUPTED)


@app.command()
def new(  # noqa: PLR0913, PLR0917  every option of a command is a parameter of its function
    file: Annotated[Path, typer.Argument(help="Write this robot file.")] = Path("robot.yaml"),
    name: Annotated[str | None, typer.Option(metavar="<text>", help="Call the robot this.")] = None,
    season: Annotated[
        str | None, typer.Option(metavar="<text>", help="Use this season file in the same folder; write it if missing.")
    ] = None,
    units: Annotated[str | None, typer.Option(metavar="<text>", help="Write in metric or inch units.")] = None,
    motor: Annotated[str | None, typer.Option(metavar="<text>", help="Use this class of drive motor.")] = None,
    motors: Annotated[int | None, typer.Option(metavar="<number>", help="Use so many drive motors.")] = None,
    wheels: Annotated[
        int | None, typer.Option(metavar="<number>", help="Use so many drive wheels, both sides together.")
    ] = None,
    wheel_size: Annotated[
        str | None, typer.Option(metavar="<text>", help="Give their diameter, such as '2.75 in'.")
    ] = None,
    gearing: Annotated[
        str | None, typer.Option(metavar="<text>", help="Give the teeth motor:wheel, such as 48:60, or direct.")
    ] = None,
    mass: Annotated[
        str | None, typer.Option(metavar="<text>", help="Give the mass of the whole robot, such as '6.5 kg'.")
    ] = None,
    length: Annotated[str | None, typer.Option(metavar="<text>", help="Give its length, such as '400 mm'.")] = None,
    width: Annotated[str | None, typer.Option(metavar="<text>", help="Give its width, such as '380 mm'.")] = None,
    height: Annotated[str | None, typer.Option(metavar="<text>", help="Give its height, such as '350 mm'.")] = None,
    tanks: Annotated[int | None, typer.Option(metavar="<number>", help="Use so many air tanks, 0 for none.")] = None,
    cg_height: Annotated[
        str | None, typer.Option(metavar="<text>", help="Give the measured height of its centre of gravity.")
    ] = None,
    has: Annotated[
        str | None, typer.Option(metavar="<text>", help="Say what is on it, such as 'clamp, two-stage intake'.")
    ] = None,
    most_mass: Annotated[
        str | None, typer.Option(metavar="<text>", help="Give the mass that the season allows.")
    ] = None,
    most_size: Annotated[
        str | None, typer.Option(metavar="<text>", help="Give the starting size that the season allows.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over an existing robot file.")] = False,
) -> None:
    """Write a first robot file, with comments.

    On a terminal it asks what the options leave open.
    """
    from fieldworthy.cli.reporting import Options, run_new  # noqa: PLC0415

    sizes = (length, width, height)
    first = (name, season, units, motor, motors, wheels, wheel_size, gearing, mass)
    given = Options(*first, *sizes, tanks, cg_height, has, most_mass, most_size)
    run_new(file, given, force=force)


@app.command()
def export(
    robot: RobotFile,
    to: Annotated[str, typer.Option("--to", metavar="<text>", help="Write json, c, python, csv or urdf.")] = "json",
    out: OutFile = None,
) -> None:
    """Write the tuned constants for the robot's own program.

    With --to urdf it writes its bodies, for a physics engine.
    """
    from fieldworthy.cli.reporting import run_export  # noqa: PLC0415

    run_export(robot, to, out)


@app.command()
def parts(
    robot: RobotFile,
    out: OutFile = None,
    table: Annotated[
        Path | None, typer.Option("--from", metavar="<file>", help="Take in this table, or this mesh.")
    ] = None,
    columns: Annotated[
        list[str] | None,
        typer.Option(metavar="<text>", help="Say which head a column has, such as 'mass=Mass (g)'; repeat it."),
    ] = None,
    mesh: Annotated[
        list[str] | None, typer.Option(metavar="<text>", help="Say of a mesh 'material=aluminium'; repeat it.")
    ] = None,
) -> None:
    """Write the parts list with totals, or take one in.

    It writes CSV or a spreadsheet; --from takes in one that another program wrote, or a mesh (STL, 3MF, OBJ, GLB).
    --mesh says material=…, density=… or a weighed mass=…, and where they differ fill=40 %, unit=in, forward=y, up=z.
    """
    from fieldworthy.cli.reporting import run_parts  # noqa: PLC0415

    run_parts(robot, out, table, columns or [], mesh or [])


@app.command()
def inspect(robot: RobotFile, out: OutFile = None, date: Date = "") -> None:
    """Hold the season's limits against the robot, item by item.

    It leaves blanks for what is measured by hand.
    """
    from fieldworthy.cli.reporting import run_inspect  # noqa: PLC0415

    raise typer.Exit(1 if run_inspect(robot, out, date) else 0)


@app.command()
def card(
    robot: RobotFile,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="<file>", help="Write this PDF or HTML file.")] = Path(
        "card.pdf"
    ),
    date: Date = "",
    log: Annotated[
        Path | None, typer.Option("--faults", metavar="<file>", help="Check first what failed by this fault log.")
    ] = None,
) -> None:
    """Write the pit card: one page for the two minutes before a match."""
    from fieldworthy.cli.reporting import run_card  # noqa: PLC0415

    run_card(robot, out, date, log)


@app.command("open")
def open_(
    folder: Annotated[Path, typer.Argument(help="Show the robot files of this folder.")] = Path(),
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, metavar="<number>", help="Use this port, or the next free one.")
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Print the address and open no browser.")] = False,
    share: Annotated[bool, typer.Option("--share", help="Let others in the network look, by a code.")] = False,
    allow_changes: Annotated[
        bool, typer.Option("--allow-changes", help="Let them change files, with --share.")
    ] = False,
) -> None:
    """Open the page: describe and check robots in a browser.

    Only this machine reaches it, unless --share is given.
    """
    from fieldworthy.web import Options, serve  # noqa: PLC0415

    options = Options(port, not no_browser, share, allow_changes)
    serve(folder.parent if folder.is_file() else folder, options, typer.echo)


@app.command()
def report(  # noqa: PLR0913, PLR0917  every option of a command is a parameter of its function
    robots: Annotated[list[Path], typer.Argument(help="Read this robot file (YAML); after --compare, variants too.")],
    out: Annotated[Path, typer.Option("-o", "--out", metavar="<file>", help="Write this PDF or HTML file.")] = Path(
        "notebook.pdf"
    ),
    date: Date = "",
    job: Annotated[
        str, typer.Option(metavar="<text>", help="Say on the cover what the notebook is for, in a sentence.")
    ] = "",
    runs: Annotated[
        int, typer.Option(min=2, max=1_000_000, metavar="<number>", help="Play so many matches for the forecast.")
    ] = 2000,
    seed: Seed = 0,
    mend: Annotated[bool, typer.Option("--remedies", help="Say which changes mend what is short.")] = False,
    since: Annotated[
        Path | None, typer.Option(metavar="<file>", help="Add what changed since this older revision.")
    ] = None,
    against: Annotated[
        list[Path] | None,
        typer.Option("--compare", metavar="<file>", help="Decide between these variants, one behind the other."),
    ] = None,
    weights: Annotated[str, typer.Option(metavar="<text>", help="Weigh the decision so: 'points=3,hours=1'.")] = "",
    reader: Annotated[
        str, typer.Option("--for", metavar="<text>", help="Write everything for the team, or two pages for the judges.")
    ] = "team",
    found: Annotated[
        Path | None, typer.Option("--search", metavar="<file>", help="Add what a search found, as its --json prints.")
    ] = None,
) -> None:
    """Write the engineering notebook, page by page.

    It holds the reasoning about the robot, as PDF or HTML.
    """
    from fieldworthy.cli.reporting import found_in, reader_of, run_report, weights_of  # noqa: PLC0415
    from fieldworthy.report.making import Wanted  # noqa: PLC0415

    robot, *more = robots  # what follows the first value of --compare comes as an argument
    if more and not against:
        raise typer.BadParameter("expected one robot file; variants follow --compare", param_hint="'ROBOTS...'")
    wanted = Wanted(date, job, runs, seed, mend, weights=weights_of(weights), search=found_in(found, robot))
    run_report(robot, out, wanted, since, [*(against or []), *more], reader_of(reader))


@app.command()
def fit(  # noqa: PLR0913, PLR0917  every option of a command is a parameter of its function
    robot: RobotFile,
    measurements: Annotated[Path, typer.Argument(help="Read this measurements file (YAML).")],
    write: Annotated[
        bool, typer.Option("--write", help="Write the measured values into the robot file; the old one is kept.")
    ] = False,
    as_json: AsJson = False,
    every: Annotated[
        bool, typer.Option("--all", help="Show changed numbers that nothing limits, and sources.")
    ] = False,
    samples: Annotated[
        int, typer.Option(min=0, max=1_000_000, metavar="<number>", help="Draw so many robots within the tolerances.")
    ] = 1000,
    seed: Seed = 0,
    plots: Annotated[
        Path | None, typer.Option(metavar="<folder>", help="Write residual plots (SVG) into this folder.")
    ] = None,
    alone: Annotated[
        bool, typer.Option("--readings-alone", help="Leave out what the robot file believes; only readings count.")
    ] = False,
) -> None:
    """Fit readings of the real robot, and say what they change.

    Readings are held against the file first. Then each value comes with its interval: what the file believes counts
    within its tolerance, unless the readings contradict it.
    """
    from fieldworthy.cli.measuring import FitOptions, run_fit  # noqa: PLC0415

    run_fit(robot, measurements, FitOptions(as_json, every, write, samples, seed, plots, alone))


@app.command()
def faults(
    robot: RobotFile,
    log: Annotated[Path, typer.Argument(help="Read this fault log (YAML).")],
    runs: Annotated[
        int, typer.Option(min=2, max=1_000_000, metavar="<number>", help="Play so many matches for each fault.")
    ] = 2000,
    seed: Seed = 0,
    accuracy: Accuracy = None,
    seconds: Seconds = None,
    as_json: AsJson = False,
) -> None:
    """Say which fault to mend first.

    It counts how often each comes and the points that it costs in a match.
    """
    from fieldworthy.cli.matching import Playing, run_faults  # noqa: PLC0415

    run_faults(robot, log, Playing(runs, seed, accuracy, seconds), as_json=as_json)


@app.command()
def sheet(
    procedure: Annotated[
        str | None, typer.Argument(help="Name the procedure, such as scales; --list names them all.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", metavar="<file>", help="Write this HTML, Markdown or text file.")
    ] = None,
    every: Annotated[bool, typer.Option("--list", help="List the procedures.")] = False,
) -> None:
    """Print the sheet of a measuring procedure.

    It says what to do in steps, cautions first, with blanks to fill.
    """
    from fieldworthy.cli.measuring import run_sheet  # noqa: PLC0415

    run_sheet(None if every else procedure, out)


@app.command()
def schema(
    what: Annotated[
        str,
        typer.Argument(
            help="Name robot, season, measurements, faultlog, searchfile, export, or check, match, compare, search, "
            "fit or faults (with --json)."
        ),
    ],
) -> None:
    """Print a JSON Schema for an editor.

    It then completes the file and checks it as you type.
    """
    from fieldworthy.cli.output import print_schema  # noqa: PLC0415

    print_schema(what)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line."""
    from fieldworthy.cli.ending import orderly  # noqa: PLC0415

    with orderly():
        try:
            _told(arguments)
        except KeyboardInterrupt:
            sys.stderr.write("interrupted\n")
            raise SystemExit(INTERRUPTED) from None
        except Exception as error:
            from fieldworthy.files.document import BadInput  # noqa: PLC0415  not for a command that reads no file

            if not isinstance(error, BadInput):
                raise
            sys.stderr.write(f"{error}\n")
            raise SystemExit(2) from None


def _told(arguments: list[str] | None) -> None:
    """Run a command; the command library makes a bare status of an interruption."""
    try:
        app(args=arguments)
    except SystemExit as ended:
        cause = ended.__context__
        if isinstance(cause, KeyboardInterrupt) or isinstance(getattr(cause, "__cause__", None), KeyboardInterrupt):
            raise KeyboardInterrupt from None
        raise
