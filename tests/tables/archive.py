"""Runs the recipe of docs/archive.md on two workers, then with one of them killed in the middle, and
compares both with what one process reads, row by row.

    archive.py PROGRAM FOLDER
"""

import os
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import threading
import time

import pyarrow.parquet as parquet
from dask.distributed import Client, LocalCluster

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "examples/archive"))
import archive  # noqa: E402

# Clips that can be read, and such that cannot.
CLIPS, BROKEN = 120, 3


def clips(folder):
    """Copies of the demo clips, each cut at another place, so that no two read the same."""
    demo = sorted((ROOT / "fixtures/demo").glob("*.wav"))
    for number in range(CLIPS + BROKEN):
        clip = folder / f"clips/machine-{number % 7}/{number:04}.wav"
        clip.parent.mkdir(parents=True, exist_ok=True)
        sound = demo[number % len(demo)].read_bytes()
        # 16-bit samples at 16 kHz behind a head of 44 bytes. A head that says more than there is
        # would be a warning in the table; cut at the front instead.
        head, samples = bytearray(sound[:44]), sound[44 + 2 * 160 * number :]
        head[4:8] = (36 + len(samples)).to_bytes(4, "little")
        head[40:44] = len(samples).to_bytes(4, "little")
        clip.write_bytes(b"no sound" if number % 41 == 40 else bytes(head) + samples)


def rows(table):
    return parquet.read_table(table).to_pylist()


def compare(what, found, expected):
    assert len(found) == len(expected), f"{what}: {len(found)} rows instead of {len(expected)}"
    for one, other in zip(found, expected):
        assert one == other, f"{what}: {one['clip']['path']} differs"


def recipe(folder, program):
    """The commands of the page, as they stand there."""
    page = (ROOT / "docs/archive.md").read_text(encoding="utf-8")
    commands = re.search(r"```sh\n(.*?)```", page, re.DOTALL).group(1)
    (folder / "examples").symlink_to(ROOT / "examples")
    path = os.pathsep.join([str(program.parent), str(pathlib.Path(sys.executable).parent), os.environ["PATH"]])
    done = subprocess.run(
        ["bash", "-euc", commands], cwd=folder, env={**os.environ, "PATH": path}, stderr=subprocess.PIPE, text=True
    )
    assert done.returncode == 3, f"{BROKEN} clips cannot be read: {done.returncode}\n{done.stderr}"
    assert done.stderr.count("not read: ") == BROKEN, done.stderr
    return folder / "archive.parquet"


def with_a_kill(folder, program, names, into):
    """The same tasks on a cluster of two, one of which is killed while it reads. Gives the process that
    was killed, the shard that it was at, and who made each shard in the end."""
    killed = []

    def kill():
        while not killed:
            time.sleep(0.001)
            if len(list(into.glob("*.parquet"))) < 2:
                continue
            for part in into.glob(".*/table.parquet.part"):
                number, digest, process, _ = part.parent.name[1:].split("-", 3)
                os.kill(int(process), signal.SIGKILL)
                killed.append((int(process), f"{number}-{digest}"))
                return

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        before = set(client.run(os.getpid).values())
        killer = threading.Thread(target=kill, daemon=True)
        killer.start()
        made = archive.read_all(client, names, into.resolve(), str(program), [])
        killer.join(timeout=1)
        assert killed, "all was done before a worker could be killed"
        assert killed[0][0] in before
    return *killed[0], made


def main():
    program, folder = (pathlib.Path(it).resolve() for it in sys.argv[1:])
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    clips(folder)

    one = subprocess.run(
        [program, "read", "clips", "--format", "parquet", "--output", "one.parquet"],
        cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, text=True,
    )
    assert one.returncode == 3, one.stderr
    expected = sorted(rows(folder / "one.parquet"), key=lambda row: row["clip"]["path"])
    assert len(expected) == CLIPS

    joined = recipe(folder, program)
    found = rows(joined)
    listed = [line for line in (folder / "clips.txt").read_text().splitlines()]
    paths = [row["clip"]["path"] for row in found]
    assert paths == [path for path in listed if path in set(paths)], "the order of the list is kept"
    compare("two workers", sorted(found, key=lambda row: row["clip"]["path"]), expected)

    # The program runs where it was started, and the paths of the clips are relative.
    os.chdir(folder)
    for attempt in range(5):
        into = folder / f"killed-{attempt}"
        into.mkdir()
        names = archive.cut(listed, 10, into, [])
        process, shard, made = with_a_kill(folder, program, names, into)
        # Where the worker had just ended its shard, the kill was too late to prove anything.
        if made[shard] not in (None, process):
            break
    else:
        sys.exit("no worker could be killed in the middle of its work")
    archive.join(names, into, folder / "killed.parquet")
    compare("a worker killed", rows(folder / "killed.parquet"), found)
    # Each shard is, byte for byte, what it is without a kill.
    again = folder / "again"
    again.mkdir()
    archive.cut(listed, 10, again, [])
    archive.read(shard, again, str(program), [])
    assert (again / f"{shard}.parquet").read_bytes() == (into / f"{shard}.parquet").read_bytes()
    assert not list(into.glob(".*")), "nothing is left behind"
    print(f"archive: {CLIPS} rows on two workers, and with worker {process} killed at shard {shard}, as by one process")


if __name__ == "__main__":
    main()
