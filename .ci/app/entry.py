"""Where the app without Python begins: the command `moue`, and the processes of its own, which it starts as a Python
would, by `-c` and `-m`."""

import multiprocessing
import runpy
import sys


def begin() -> None:
    """Take the words of the command line."""
    multiprocessing.freeze_support()
    kind, what, rest = (*sys.argv[1:3], "", "")[:2] + (sys.argv[3:],)
    if kind == "-c":
        sys.argv = ["-c", *rest]
        exec(compile(what, "<string>", "exec"), {"__name__": "__main__"})
    elif kind == "-m":
        sys.argv = [what, *rest]
        runpy.run_module(what, run_name="__main__", alter_sys=True)
    else:
        from composer.cli.main import main

        main()


begin()
