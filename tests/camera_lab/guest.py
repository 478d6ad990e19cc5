"""A stock Debian kernel in QEMU over this machine's own files, for commands that need its drivers.

The kernel's package comes from the machine's package source; its modules go into a small first
root. That mounts this machine's files read-only (9p) under a layer in memory, so the checkout and
its environment are used as they are, and nothing here can be changed but the output folder.
Neither root nor KVM is needed to run it: emulated, it boots in about 4 s. Standard library only.
"""

from __future__ import annotations

import gzip
import lzma
import os
import re
import resource
import shutil
import subprocess
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

PACKAGES = ("qemu-system-x86", "busybox-static", "kmod")
"""What Debian has to install for this."""

MODULES = ("virtio_pci", "9pnet_virtio", "9p", "overlay", "uvcvideo", "vhci-hcd")
OUT = "/run/out"
"""Where the guest finds the output folder."""
LOOK_S = 5.0
LOCKUPS = 4
"""So many times in a row, half a minute apart, the kernel's watchdog speaks before it is stuck."""
EMULATED = "max,avx=off,avx2=off"
"""QEMU's AVX reads what a masked load masks out: at a page's edge that ends Qt's painting."""

_SHARE = "security_model=none,multidevs=remap"
_MOUNT = "trans=virtio,version=9p2000.L,msize=512000"
_INIT = f"""#!/bin/busybox sh
/bin/busybox --install -s /bin
export PATH=/bin
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
for module in $(cat /modules/order); do
    insmod /modules/$module || echo "insmod $module failed"
done
mount -t 9p -o {_MOUNT},cache=loose,ro host /host
mount -t tmpfs -o size=80% layer /layer
mkdir -p /layer/upper /layer/work /layer/root
root=/layer/root
mount -t overlay overlay -o lowerdir=/host,upperdir=/layer/upper,workdir=/layer/work $root
mount -t proc proc $root/proc
mount -t sysfs sys $root/sys
mount -t tracefs tracefs $root/sys/kernel/tracing
mount -t devtmpfs dev $root/dev
mkdir -p $root/dev/shm $root/dev/pts
mount -t tmpfs shm $root/dev/shm
mount -t devpts pts $root/dev/pts
mount -t tmpfs run $root/run
mkdir -p $root{OUT}
mount -t 9p -o {_MOUNT},cache=none out $root{OUT}
ip link set lo up
chroot $root /bin/sh {OUT}/job.sh > /dev/ttyS0 2>&1
echo $? > $root{OUT}/status
sync
poweroff -f
"""


def missing() -> str:
    """Return what this machine lacks for a guest, in words; empty where it lacks nothing."""
    tools = {"qemu-system-x86_64": None, "busybox": None, "apt-get": None, "dpkg-deb": None}
    lacking = [name for name in tools if shutil.which(name) is None]
    if not Path("/sbin/modprobe").exists():
        lacking.append("modprobe")
    if not lacking:
        return ""
    return f"{', '.join(lacking)} not found; on Debian: apt-get install {' '.join(PACKAGES)}"


@dataclass(frozen=True)
class Kernel:
    """A kernel and the first root that starts it."""

    image: Path
    first_root: Path


@dataclass(frozen=True)
class Outcome:
    """What a run came to: the command's exit status (None: no end in time), and what it said.

    `others` is the share of this machine's processors that the guest had to leave to other work,
    or its host to other machines.
    """

    status: int | None
    log: str
    out: Path
    seconds: float
    others: float

    @property
    def stuck(self) -> bool:
        """Tell whether the guest's own kernel hung, as its watchdog said."""
        return _is_stuck(self.log)


def kernel_in(folder: Path) -> Kernel:
    """Return the kernel in a folder, fetched and unpacked there the first time."""
    made = Kernel(folder / "vmlinuz", folder / "first-root.gz")
    if made.first_root.exists():
        return made
    folder.mkdir(parents=True, exist_ok=True)
    root = folder / "unpacked"
    shutil.rmtree(root, ignore_errors=True)
    _run("dpkg-deb", "-x", str(_kernel_package(folder)), str(root))
    if not (root / "lib").exists():  # packages of a merged /usr
        (root / "lib").symlink_to("usr/lib")
    version = next((root / "lib/modules").iterdir()).name
    _run("/sbin/depmod", "-b", str(root), version)
    archive = _archive(_first_files(_module_files(root, version)))
    shutil.copy(root / f"boot/vmlinuz-{version}", made.image)
    partial = made.first_root.with_suffix(".part")
    partial.write_bytes(gzip.compress(archive, 1))
    partial.rename(made.first_root)
    shutil.rmtree(root)
    return made


def run_in_guest(
    kernel: Kernel, command: str, out: Path, *, timeout_s: float, memory_mb: int = 2048
) -> Outcome:
    """Run a shell command in a guest; `out` is its `OUT`, both ways."""
    out.mkdir(parents=True, exist_ok=True)
    (out / "status").unlink(missing_ok=True)
    (out / "job.sh").write_text(
        "export HOME=/root PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin\n"
        "export LANG=C.UTF-8 PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1\n"
        f"{command}\n"
    )
    accelerator = (
        ["kvm", "-cpu", "host"] if _kvm_works() else ["tcg,thread=multi", "-cpu", EMULATED]
    )
    began_s, work_before_s, own_before_s = time.monotonic(), _work_s(), _childrens_s()
    log = out / "console.txt"
    with log.open("wb") as console:
        machine = subprocess.Popen(
            [
                *("qemu-system-x86_64", "-M", "q35", "-accel", *accelerator, "-smp", "2"),
                *("-m", str(memory_mb), "-nographic", "-nodefaults", "-no-reboot"),
                *("-serial", "stdio", "-kernel", str(kernel.image)),
                *("-initrd", str(kernel.first_root)),
                *("-append", "console=ttyS0 loglevel=1 panic=-1"),
                *("-virtfs", f"local,path=/,mount_tag=host,readonly=on,{_SHARE}"),
                *("-virtfs", f"local,path={out.resolve()},mount_tag=out,{_SHARE}"),
            ],
            stdin=subprocess.DEVNULL,
            stdout=console,
            stderr=subprocess.STDOUT,
        )
        try:
            _wait(machine, log, timeout_s)
        finally:
            machine.kill()
            machine.wait()
    seconds = time.monotonic() - began_s
    others_s = _work_s() - work_before_s - (_childrens_s() - own_before_s)
    status = out / "status"
    return Outcome(
        int(status.read_text()) if status.exists() else None,
        log.read_text("utf-8", "replace"),
        out,
        seconds,
        others_s / (seconds * (os.cpu_count() or 1)),
    )


def _wait(machine: subprocess.Popen[bytes], log: Path, timeout_s: float) -> None:
    """Wait for the guest's end, or until its kernel is stuck."""
    end_s = time.monotonic() + timeout_s
    while machine.poll() is None and time.monotonic() < end_s:
        with suppress(subprocess.TimeoutExpired):
            machine.wait(LOOK_S)
        if _is_stuck(log.read_text("utf-8", "replace")):
            return


def _is_stuck(console: str) -> bool:
    return console.count("soft lockup") >= LOCKUPS


def _work_s() -> float:
    """Return the time that all processors were taken, by anyone, since the machine started."""
    user, nice, system, _idle, _wait, irq, soft, steal = (
        int(number) for number in Path("/proc/stat").read_text().split(maxsplit=9)[1:9]
    )
    return (user + nice + system + irq + soft + steal) / os.sysconf("SC_CLK_TCK")


def _childrens_s() -> float:
    """Return the time that this process's children took, of those that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _kvm_works() -> bool:
    """A /dev/kvm alone proves nothing: some hosts offer one that runs no whole machine."""
    flags = re.search(r"^flags\s*:(.*)$", Path("/proc/cpuinfo").read_text(), re.MULTILINE)
    able = flags is not None and bool({"vmx", "svm"} & set(flags[1].split()))
    return able and os.access("/dev/kvm", os.R_OK | os.W_OK)


def _run(*command: str, folder: Path | None = None) -> str:
    done = subprocess.run(command, check=True, text=True, stdout=subprocess.PIPE, cwd=folder)
    return done.stdout


def _kernel_package(folder: Path) -> Path:
    """Fetch the newest stock kernel that the machine's package source has."""
    wanted = re.search(
        r"Depends: (linux-image-\S+)", _run("apt-cache", "depends", "linux-image-amd64")
    )
    assert wanted is not None, "the package source has no linux-image-amd64"
    name = wanted[1]
    if not list(folder.glob(f"{name}_*.deb")):
        _run("apt-get", "-q", "-o", "APT::Sandbox::User=root", "download", name, folder=folder)
    return next(folder.glob(f"{name}_*.deb"))


def _module_files(root: Path, version: str) -> list[Path]:
    """Return the modules and what they need, in the order of loading."""
    files: list[Path] = []
    for module in MODULES:
        answer = _run("/sbin/modprobe", "-d", str(root), "-S", version, "-D", module)
        for line in answer.splitlines():
            word, _, rest = line.strip().partition(" ")
            path = Path(rest.split(" ")[0])
            if word == "insmod" and path not in files:
                files.append(path)
    return files


def _first_files(modules: list[Path]) -> list[tuple[str, int, bytes]]:
    folders = ("bin", "modules", "proc", "sys", "dev", "host", "layer")
    files: list[tuple[str, int, bytes]] = [(name, 0o40755, b"") for name in folders]
    names = []
    for module in modules:
        content = module.read_bytes()
        if module.suffix == ".xz":  # as newer releases pack them
            content = lzma.decompress(content)
        names.append(re.sub(r"\.ko.*", ".ko", module.name))
        files.append((f"modules/{names[-1]}", 0o100644, content))
    busybox = shutil.which("busybox")
    assert busybox is not None
    return [
        *files,
        ("modules/order", 0o100644, "\n".join(names).encode()),
        ("init", 0o100755, _INIT.encode()),
        ("bin/busybox", 0o100755, Path(busybox).read_bytes()),
    ]


def _archive(files: list[tuple[str, int, bytes]]) -> bytes:
    """Return a cpio archive ("newc") of (name, mode, content): what a kernel starts from."""
    out = bytearray()
    for number, (name, mode, content) in enumerate([*files, ("TRAILER!!!", 0, b"")], 1):
        title = name.encode() + b"\0"
        fields = (number, mode, 0, 0, 1, 0, len(content), 0, 0, 0, 0, len(title), 0)
        out += b"070701" + b"".join(b"%08X" % field for field in fields) + title
        out += bytes(-len(out) % 4) + content
        out += bytes(-len(out) % 4)
    return bytes(out)
