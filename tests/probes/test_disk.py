"""What carries a folder: a disk that is really full, and what Linux tells of disks in a tree like its own."""

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from gateway.probes import disk

LOOK = """
import pathlib, sys
from gateway.probes import disk
found = disk.look(pathlib.Path(sys.argv[1]))
print(found.error, found.passing, found.size_octets)
"""
FULL = 'mount -t tmpfs -o size=64k tmpfs "$1" && head -c 60000 /dev/zero > "$1/filled" && exec "$2" -c "$3" "$1"'


@pytest.mark.needs("unshare", "util-linux")
def test_a_disk_without_room_is_found_by_writing_to_it(tmp_path: Path) -> None:
    alone = ["unshare", "--user", "--map-root-user", "--mount"]
    command = [*alone, "sh", "-c", FULL, "sh", str(tmp_path), sys.executable, LOOK]
    looked = subprocess.run(command, check=True, capture_output=True, text=True, timeout=20)
    assert looked.stdout == f"{errno.ENOSPC} True 65536\n"


def test_a_trial_leaves_nothing_behind(tmp_path: Path) -> None:
    found = disk.look(tmp_path)
    assert (found.trouble, found.error) == ("", None)
    assert 0 < found.free_octets <= found.size_octets
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["none", "file/below"])
def test_what_is_no_folder_is_said_to_be_none(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").touch()
    found = disk.look(tmp_path / name)
    assert found.trouble in {"No such file or directory", "Not a directory"}


def system_with(folder: Path, place: Path, life_time: str, name: str = "mmcblk0") -> Path:
    """A tree like `/sys`, in which the disk under `place` is the first partition of a card."""
    card = folder / "devices" / "block" / name
    partition = card / f"{name}p1"
    partition.mkdir(parents=True)
    (partition / "partition").write_text("1\n")
    (card / "device").mkdir()
    (card / "device" / "life_time").write_text(life_time)
    # "Block layer statistics in /sys/block/<dev>/stat" of Linux: the seventh field is sectors written, of 512 octets.
    (card / "stat").write_text("  8104   2410  501240   3120   9876   5432  200000   45678  0  9000  48798\n")
    (folder / "dev" / "block").mkdir(parents=True)
    device = place.stat().st_dev
    (folder / "dev" / "block" / f"{os.major(device)}:{os.minor(device)}").symlink_to(partition)
    return folder


@pytest.mark.parametrize(
    ("life_time", "tenths"),
    [("0x01 0x02\n", 2), ("0x0b 0x01\n", 11), ("0x00 0x00\n", None), ("", None), ("unknown\n", None)],
)
def test_the_wear_of_a_card_is_the_worse_of_its_two_estimates(tmp_path: Path, life_time: str, tenths: int) -> None:
    """JEDEC eMMC 5.0 (JESD84-B50) section 7.4: DEVICE_LIFE_TIME_EST, types A and B; 0: not defined. From memory."""
    found = disk.look(tmp_path, system_with(tmp_path / "sys", tmp_path, life_time))
    assert found.carrier is not None
    assert (found.carrier.name, found.carrier.is_card, found.carrier.wear_tenths) == ("mmcblk0", True, tenths)
    assert found.carrier.written_octets == 200_000 * 512


def test_a_folder_that_no_disk_carries_has_no_carrier(tmp_path: Path) -> None:
    assert disk.look(tmp_path, tmp_path / "none").carrier is None


def test_the_kind_of_file_system_is_told_by_its_device(tmp_path: Path) -> None:
    """A line as proc_pid_mountinfo(5) shows it."""
    device = tmp_path.stat().st_dev
    mounts = tmp_path / "mountinfo"
    here = f"{os.major(device)}:{os.minor(device)}"
    mounts.write_text(f"36 35 {here} / /mnt rw,noatime master:1 - tmpfs none rw\n")
    assert disk.look(tmp_path, mounts=mounts).passing
    mounts.write_text(f"36 35 {here} / /mnt rw,noatime master:1 - ext4 /dev/root rw\n")
    assert not disk.look(tmp_path, mounts=mounts).passing
