"""What figures were measured on, and what a process took."""

import os
import platform
from collections.abc import Callable
from pathlib import Path
from time import perf_counter, process_time
from typing import NamedTuple, TypeVar

T = TypeVar("T")


class Took(NamedTuple):
    """What an act of this process took."""

    seconds: float
    at_work_s: float
    """Of the seconds, those in which this process worked: on a busy machine the fairer figure.

    What PostgreSQL works is in its own processes and not among them.
    """


def timed(act: Callable[[], T]) -> tuple[Took, T]:
    """Do something, and say what it took and what it came to."""
    began, worked = perf_counter(), process_time()
    found = act()
    return Took(perf_counter() - began, process_time() - worked), found


def machine() -> str:
    """Say what the figures were measured on."""
    kib = next(
        (int(line.split()[1]) for line in Path("/proc/meminfo").read_text("utf-8").splitlines()
         if line.startswith("MemTotal")),
        0,
    )  # fmt: skip
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg())
    return (
        f"{os.cpu_count()} processors, {kib / 2**20:.0f} GiB, {platform.system()}, "
        f"Python {platform.python_version()}; load before the run: {load}"
    )


def peak_mib(process: int) -> float:
    """Read the most memory that a process had until now."""
    said = Path(f"/proc/{process}/status").read_text("utf-8")
    return int(said.partition("VmHWM:")[2].split()[0]) / 1024


def worked_s(process: int) -> float:
    """Read how long a process has worked, by itself and in the kernel."""
    said = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(said[11]) + int(said[12])) / os.sysconf("SC_CLK_TCK")
