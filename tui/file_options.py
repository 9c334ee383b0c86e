"""Options of the commands on files; imports argparse alone, so that `--help` is fast."""

import argparse

SEVERAL = "several recordings of one host, or a folder of them, are joined"

REPORT_EXAMPLE = "ohmvigil report night.ohmv -o night.html"


def report_options(parser: argparse.ArgumentParser) -> None:
    """Options of `ohmvigil report`."""
    parser.add_argument(
        "files",
        metavar="FILE",
        nargs="+",
        help=f"a recording, a plain log or a bundle; {SEVERAL}",
    )
    parser.add_argument(
        "-o", "--output", metavar="OUT", required=True, help=".html, or .md with pictures beside it"
    )
    parser.add_argument("--profile", metavar="NAME", help="chain facts: a profile's name or file")


BUNDLE_EXAMPLE = "ohmvigil bundle night.ohmv -o fault.zip --around 120"


def bundle_options(parser: argparse.ArgumentParser) -> None:
    """Options of `ohmvigil bundle`."""
    parser.add_argument(
        "files", metavar="FILE", nargs="+", help=f"a recording or a plain log; {SEVERAL}"
    )
    parser.add_argument("-o", "--output", metavar="OUT", required=True, help="a .zip")
    parser.add_argument("--from", metavar="TIME", dest="start", help="seconds or h:mm:ss")
    parser.add_argument("--to", metavar="TIME", dest="end", help="seconds or h:mm:ss")
    parser.add_argument(
        "--around",
        metavar="SECONDS",
        help="keep only this long before and after events",
    )
    parser.add_argument(
        "--hide", metavar="TEXT", action="append", default=[], help="replace this as well"
    )
    parser.add_argument("--profile", metavar="NAME", help="chain facts: a profile's name or file")


EXPORT_EXAMPLE = "ohmvigil export night.ohmv -o night.csv"


def export_options(parser: argparse.ArgumentParser) -> None:
    """Options of `ohmvigil export`."""
    parser.add_argument(
        "files", metavar="FILE", nargs="+", help=f"a recording or a plain log; {SEVERAL}"
    )
    parser.add_argument(
        "-o", "--output", metavar="OUT", required=True, help=".csv (the plain log) or .parquet"
    )
    parser.add_argument(
        "--for-spreadsheet",
        action="store_true",
        help="put a ' before texts of a .csv that a spreadsheet would work out as formulas",
    )


IMPORT_LOG_EXAMPLE = (
    "ohmvigil import night.csv -o night.ohmv\n"
    "         ohmvigil import frames.ndjson --profile garage -o night.ohmv"
)


def import_log_options(parser: argparse.ArgumentParser) -> None:
    """Options of `ohmvigil import`."""
    parser.add_argument(
        "file", metavar="FILE", help="a plain log (.csv), or NDJSON with a frame a line"
    )
    parser.add_argument("-o", "--output", metavar="OUT", required=True, help="recording to write")
    parser.add_argument(
        "--profile", metavar="NAME", help="how to read the frames, and chain facts: name or file"
    )


NOTE_EXAMPLE = (
    'ohmvigil note night.ohmv "tightened the terminal" --at 1:23:05\n'
    "         ohmvigil note night.ohmv --answer wiggle-cable=no-break --channel nozzle"
)


def note_options(parser: argparse.ArgumentParser) -> None:
    """Options of `ohmvigil note`."""
    parser.add_argument("file", metavar="FILE", help="a recording, also one being written")
    parser.add_argument("text", metavar="TEXT", nargs="?", default="", help="what happened")
    parser.add_argument(
        "--at", metavar="TIME", help="seconds or h:mm:ss of the log (default: its newest moment)"
    )
    parser.add_argument("--answer", metavar="CHECK=OUTCOME", help="what came out of a check")
    parser.add_argument(
        "--trial", action="store_true", help="a trial starts here; TEXT says what was changed"
    )
    parser.add_argument(
        "--change", metavar="CHECK", help="with --trial: the check of the diagnosis that was done"
    )
    parser.add_argument("--channel", metavar="NAME", help="the channel that is meant")


CHECK_EXAMPLE = "ohmvigil check night.ohmv --repair saved.ohmv"


def check_options(parser: argparse.ArgumentParser) -> None:
    """Options of `ohmvigil check`."""
    parser.add_argument("file", metavar="FILE", help="a recording")
    parser.add_argument("--repair", metavar="OUT", help="save every whole row into a new recording")
