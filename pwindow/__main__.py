"""The command ``pwindow``, also as ``python -m pwindow``; it loads nothing before an interruption is caught."""

from __future__ import annotations

import errno
import os
import signal
import sys
from collections.abc import Callable
from contextlib import suppress

INTERRUPTED = 130
"""Exit status after Ctrl-C, as shells have it: 128 and the number of the signal."""
_COMPLETE = "_PWINDOW_COMPLETE"  # as shells that complete commands ask for it
_UNTAKEN = frozenset({errno.EPIPE, errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF})
"""What a stream says that takes no more; files say it under their name."""


def main() -> None:
    """Run a command and leave with its status."""
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):  # who is asked to end puts away what is half done
            signal.signal(getattr(signal, name), lambda number, _: sys.exit(128 + number))
    sys.exit(_status(_run))


def _run() -> int:
    from click import Abort, ClickException
    from click.exceptions import Exit
    from click.shell_completion import shell_complete

    from pwindow.cli import main as commands

    try:
        if _COMPLETE in os.environ:
            return shell_complete(commands, {}, "pwindow", _COMPLETE, os.environ[_COMPLETE])
        with commands.make_context("pwindow", sys.argv[1:]) as context:
            commands.invoke(context)
    except ClickException as problem:
        problem.show()
        return problem.exit_code
    except Exit as ended:
        return ended.exit_code
    except Abort:
        return INTERRUPTED
    return 0


def _status(run: Callable[[], int]) -> int:
    """The status of a command, also where it was interrupted or where nobody takes its answer."""
    try:
        status = run()
        if sys.stdout is not None:
            sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        _say("interrupted")
        return INTERRUPTED
    except OSError as problem:
        if problem.filename is not None or problem.errno not in _UNTAKEN:
            raise
        _say(f"the answer could not be written to standard output: {problem.strerror}")
        return 1
    finally:
        _let_go_of_what_is_broken()


def _say(text: str) -> None:
    with suppress(OSError):  # standard error may be as full: the status says it then
        print(text, file=sys.stderr, flush=True)


def _let_go_of_what_is_broken() -> None:
    """Drop what broken streams hold: the interpreter would flush it once more, and protest, as it ends."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


if __name__ == "__main__":
    main()
