"""Work for another process to do, in a module that it need import nothing else for."""

import os

from pithline.errors import ScriptError


def refused():
    raise ScriptError("it does not hold.")


def ended_from_outside(number, parent):
    if os.getpid() != parent:
        os._exit(1)
    return number + 1
