"""Kernels forked from one process that has done once what every page needs.

A kernel of its own for each page would import the same modules and fit the same trial as the last one; ten of them keep
two cores busy for a minute. What is forked shares that work, and its memory, with the process it comes from.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import threading
from collections.abc import Mapping, Sequence
from typing import Any

from jupyter_client.connect import KernelConnectionInfo
from jupyter_client.provisioning import LocalProvisioner

LAUNCHER = "ipykernel_launcher"
"""Module that starts a kernel; in its command line, what follows is the kernel's."""

_forking = multiprocessing.get_context("forkserver")
_forking.set_forkserver_preload(["pwindow.server.prepared"])
_one_at_a_time = asyncio.Lock()


class Forked:
    """A forked process, with what is asked of a `subprocess.Popen`."""

    stdin = stdout = stderr = None

    def __init__(self, process: multiprocessing.process.BaseProcess):
        self._process, self.pid = process, process.pid

    def poll(self) -> int | None:
        return self._process.exitcode

    def wait(self) -> int | None:
        self._process.join()
        return self._process.exitcode

    def send_signal(self, number: int) -> None:
        if self.pid is not None and self.poll() is None:
            os.kill(self.pid, number)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


class ForkedKernel(LocalProvisioner):
    """Starts a kernel as a fork of the prepared process, which is made at the first one."""

    async def launch_kernel(self, cmd: list[str], **options: Any) -> KernelConnectionInfo:
        arguments, environment = cmd[cmd.index(LAUNCHER) + 1 :], dict(options["env"])
        process = _forking.Process(
            target=be_kernel, args=(arguments, environment, options["cwd"]), daemon=True
        )
        async with _one_at_a_time:
            await asyncio.to_thread(process.start)  # waits for the process to be prepared
        self.process = Forked(process)  # type: ignore[assignment]  # has all that is asked of a Popen
        self.pid = self.pgid = process.pid
        self.cwd = options["cwd"]
        return self.connection_info


def be_kernel(arguments: Sequence[str], environment: Mapping[str, str], folder: str) -> None:
    """Be the kernel that a command line asks for, until it or the server ends.

    Parameters
    ----------
    arguments : sequence of str
        What follows the launcher in the command line.
    environment : mapping of str to str
        The kernel's whole environment.
    folder : str
        Its working folder.
    """
    from ipykernel.kernelapp import IPKernelApp

    os.setsid()  # signals that are sent to a kernel reach what it has started, and nobody else
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    threading.Thread(target=_end_with_server, daemon=True).start()
    # Widgets look for their kernel when they are imported, or loaded so; and no process is to be looked after as parent.
    IPKernelApp.launch_instance([*arguments, "--ext=ipywidgets", "--IPKernelApp.parent_handle=1"])


def _end_with_server() -> None:
    server = multiprocessing.parent_process()
    if server is not None:
        server.join()
        os._exit(1)
