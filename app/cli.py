"""The command line: `compare` computes here and now, `serve` and `demo` open the dashboard.

Exit code 0 when it went well, 2 with one plain sentence on stderr when the input cannot be used.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NoReturn

from analysis.errors import CountercheckError


class _Parser(argparse.ArgumentParser):
    """One sentence instead of usage and message."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{message[:1].upper()}{message[1:]}; see {self.prog} --help.\n")


def main(argv: Sequence[str] | None = None) -> int:
    """Entry point; returns the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that lacks a sign shows "?" instead of ending the run
    arguments = _parser().parse_args(argv)
    try:
        return arguments.act(arguments)
    except CountercheckError as problem:
        print(problem, file=sys.stderr)
        return 2
    except BrokenPipeError:
        # whoever read the table has seen enough; nothing may be flushed to them at exit either
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141  # 128 + SIGPIPE, as shells count
    except KeyboardInterrupt:
        return 130  # 128 + SIGINT, as shells count


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="countercheck", description="Does a cycling power device read true?")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    compare = commands.add_parser("compare", help="compare recordings of one ride", parents=[])
    compare.add_argument("files", nargs="+", metavar="FILE", help="a recording: FIT, TCX, GPX or CSV, plain, as .gz or in a .zip")
    compare.add_argument("--setup", metavar="TOML", help="what each device is and claims, and the ride as planned")
    compare.add_argument("--reference", metavar="LABEL", help="the recording the others are held against")
    compare.add_argument("--json", metavar="OUT", help="write the whole result")
    compare.add_argument("--html", metavar="OUT", help="write a page that needs no server")
    compare.add_argument("--csv", metavar="OUT", help="write the delta table")
    compare.set_defaults(act=_compare)

    serve = commands.add_parser("serve", help="open the dashboard on this machine")
    demo = commands.add_parser("demo", help="show the built-in trial in the browser")
    for command in (serve, demo):
        command.add_argument("--host", help="address to listen on (default 127.0.0.1: this machine only)")
        command.add_argument("--port", type=_port, help="port to listen on; 0 takes any free one")
        command.add_argument("--data-dir", metavar="FOLDER", help="where trials and recordings are kept")
    serve.add_argument("--public", action="store_true", help="for anybody; the README says what must be set before")
    demo.add_argument("--no-browser", action="store_true", help="only print the address")
    bring = commands.add_parser("import", help="take in a trial that was taken away as everything.zip")
    bring.add_argument("file", metavar="FILE", help="the file from the trial's page")
    bring.set_defaults(act=_import)
    backup = commands.add_parser("backup", help="write all trials and recordings to one file, also while the server runs")
    backup.add_argument("target", metavar="FILE", help="a new file ending in .zip, or a new folder")
    backup.set_defaults(act=_backup)
    restore = commands.add_parser("restore", help="put a backup back into an empty data folder")
    restore.add_argument("source", metavar="FILE", help="the file or folder that backup wrote")
    restore.set_defaults(act=_restore)
    purge = commands.add_parser("purge", help="delete trials that nobody has opened or changed for long, with their recordings")
    purge.add_argument("--older-than", metavar="DAYS", required=True, help="for how long, such as 365d")
    purge.add_argument("--dry-run", action="store_true", help="only say what would be deleted")
    purge.set_defaults(act=_purge)
    for command in (bring, backup, restore, purge):
        command.add_argument("--data-dir", metavar="FOLDER", help="where trials and recordings are kept")
        command.set_defaults(host=None, port=None)
    serve.set_defaults(act=_serve)
    demo.set_defaults(act=_demo)
    return parser


def _compare(arguments: argparse.Namespace) -> int:
    from app.comparing import Request, run

    return run(
        Request(
            files=tuple(arguments.files),
            setup=arguments.setup,
            reference=arguments.reference,
            json_out=arguments.json,
            html_out=arguments.html,
            csv_out=arguments.csv,
        )
    )


def _serve(arguments: argparse.Namespace) -> int:
    from app import logs
    from app.serving import Server

    os.umask(0o077)  # what is kept holds addresses: nobody else on this machine may read it
    settings = _settings(arguments)
    if settings.public:
        logs.to_stderr()
    server = Server(settings)
    shown = f"{settings.base_url}/, listening on {server.address}" if settings.public else f"{server.address}/"
    print(f"countercheck is at {shown} (Ctrl-C ends it)", flush=True)
    server.run()
    return 0


def _import(arguments: argparse.Namespace) -> int:
    from app.upkeep import import_file

    return import_file(_settings(arguments), Path(arguments.file))


def _backup(arguments: argparse.Namespace) -> int:
    from app.upkeep import backup

    return backup(_settings(arguments), Path(arguments.target))


def _restore(arguments: argparse.Namespace) -> int:
    from app.upkeep import restore

    return restore(_settings(arguments), Path(arguments.source))


def _purge(arguments: argparse.Namespace) -> int:
    from app.upkeep import purge

    return purge(_settings(arguments), arguments.older_than, dry_run=arguments.dry_run)


def _demo(arguments: argparse.Namespace) -> int:
    import webbrowser

    from app import links
    from app.demo import demo_trial
    from app.serving import Server, UnusableAddress

    os.umask(0o077)
    settings = _settings(arguments)
    try:
        server = Server(settings)
    except UnusableAddress:
        if arguments.port is not None:
            raise
        server = Server(replace(settings, port=0))  # nobody asked for this port in particular
    trial_id = demo_trial(server.services)
    server.services.jobs.ask(trial_id)  # computing starts while the browser does
    print(f"The built-in trial is at {server.address}{links.trial_path(trial_id)} (Ctrl-C ends it)", flush=True)
    if not arguments.no_browser:
        tomorrow = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()  # the next start makes another one
        key = server.services.store.links.new_owner(trial_id, label="countercheck demo", expires=tomorrow)
        with contextlib.suppress(webbrowser.Error):
            webbrowser.open(server.address + links.owner_path(trial_id, key))
    server.run()
    return 0


def _settings(arguments: argparse.Namespace):
    from app.settings import Settings

    public = False if arguments.act is _demo else getattr(arguments, "public", None) or None  # None: as the environment says
    return Settings.from_environment(data_dir=arguments.data_dir, host=arguments.host, port=arguments.port, public=public)


def _port(text: str) -> int:
    if not text.isdecimal() or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"a port is a whole number from 0 to 65535, not {text!r}")
    return int(text)


if __name__ == "__main__":
    sys.exit(main())
