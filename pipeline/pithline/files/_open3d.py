"""The one place that imports open3d."""

from __future__ import annotations

import ctypes
from types import ModuleType

from pithline.errors import InputError


def load_open3d() -> ModuleType:
    """The open3d module.

    Its library is linked against libusb-1.0.so.0, which bare servers lack and pip cannot ask the system for. The
    `libusb-package` wheel carries that library under the same soname, so loading it first lets the system's loader
    find it in memory when open3d asks for it by name.

    Raises
    ------
    InputError
        If EGL or GL, which no wheel carries, are missing on this machine.
    """
    import libusb_package

    library = libusb_package.get_library_path()
    if library is not None:
        ctypes.CDLL(str(library), mode=ctypes.RTLD_GLOBAL)
    try:
        import open3d
    except (ImportError, OSError) as error:
        if "libEGL" in str(error) or "libGL" in str(error) or "libOpenGL" in str(error):
            raise InputError(
                f"open3d needs the system's EGL and GL libraries, which are missing here ({error}); "
                "install them, on Debian and Ubuntu with: apt-get install -y libegl1 libgl1"
            ) from error
        raise
    return open3d
