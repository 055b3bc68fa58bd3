"""Reads an archive of clips that is too large for one machine, on a Dask cluster: docs/archive.md.

The list of clips is cut into shards. Each shard is one task: a run of `engine-note read` that writes a
Parquet file under a temporary name and then gives it its own, which follows from the list and the flags
alone. So a task may be run again at any time, by anybody, and gives the same file. One pass at the end
joins the files.
"""

import argparse
import hashlib
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import pyarrow
import pyarrow.parquet as parquet
from dask.distributed import Client, LocalCluster, as_completed

# Rows of the joined table that are held in memory, and then written as one row group.
ROWS = 10_000
# Ways in which `engine-note read` ends that leave a whole table: all read; some clips could not be
# read; some clips without an engine.
WHOLE = (0, 3, 4)


def cut(clips, size, into, flags):
    """Cuts the list into shards of `size` clips; writes the list of each and gives their names."""
    names = []
    for start in range(0, len(clips), size):
        text = "\n".join(clips[start : start + size]) + "\n"
        name = f"{start // size:06}-{hashlib.sha256(repr((text, flags)).encode()).hexdigest()[:12]}"
        (into / f"{name}.txt").write_text(text, encoding="utf-8")
        names.append(name)
    return names


def read(name, into, program, flags):
    """The task: makes the table of one shard. Says which process made it, or None where it was there."""
    final = into / f"{name}.parquet"
    if final.exists():
        return name, None
    clips = (into / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    # A process of a killed worker may still be writing, so each attempt has a folder of its own.
    with tempfile.TemporaryDirectory(dir=into, prefix=f".{name}-{os.getpid()}-") as folder:
        table = pathlib.Path(folder) / "table.parquet"
        command = [program, "read", "--format", "parquet", "--output", str(table), *flags, "--", *clips]
        run = subprocess.run(command, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        if run.returncode not in WHOLE or not table.exists():
            raise RuntimeError(f"shard {name}: ended with {run.returncode}: {run.stderr[-2000:]}")
        os.replace(table, final)
    return name, os.getpid()


def read_all(client, names, into, program, flags):
    """Runs the tasks on the cluster, and each again that was lost with its worker."""
    tasks = client.map(read, names, into=into, program=program, flags=flags, key=names, retries=2)
    made = {}
    for task in as_completed(tasks):
        name, process = task.result()
        made[name] = process
        task.release()
        if sys.stderr.isatty():
            end = "\n" if len(made) == len(names) else ""
            print(f"\r{len(made)} of {len(names)} shards", end=end, file=sys.stderr, flush=True)
    return made


def join(names, into, out):
    """One pass over the shards, in order, into one table. Says which clips of the lists are not in it."""
    schema = parquet.read_schema(into / f"{names[0]}.parquet")
    part = out.with_name(f"{out.name}.part")
    unread = []
    with parquet.ParquetWriter(part, schema, compression="snappy") as writer:
        held = []
        for name in names:
            table = parquet.read_table(into / f"{name}.parquet", schema=schema)
            paths = set(table["clip"].combine_chunks().field("path").to_pylist())
            clips = (into / f"{name}.txt").read_text(encoding="utf-8").splitlines()
            unread += [clip for clip in clips if clip not in paths]
            held.append(table)
            if sum(map(len, held)) >= ROWS:
                writer.write_table(pyarrow.concat_tables(held))
                held = []
        if held:
            writer.write_table(pyarrow.concat_tables(held))
    os.replace(part, out)
    # What killed workers left behind.
    for folder in into.glob(".*-*-*-*"):
        shutil.rmtree(folder, ignore_errors=True)
    return unread


def main():
    parser = argparse.ArgumentParser(description="Reads an archive of clips on a Dask cluster")
    parser.add_argument("list", type=pathlib.Path, help="text file with the path of a clip in each line")
    parser.add_argument("--into", type=pathlib.Path, required=True, help="folder for the shards, seen by every worker")
    parser.add_argument("--out", type=pathlib.Path, help="the joined table; without it the shards are not joined")
    parser.add_argument("--shard", type=int, default=500, help="clips in a shard [500]")
    parser.add_argument("--scheduler", help="address of a Dask scheduler; without it, workers on this machine")
    parser.add_argument("--workers", type=int, default=2, help="workers on this machine [2]")
    parser.add_argument("--program", default="engine-note", help="the program, as each worker finds it")
    parser.add_argument("flags", nargs="*", help="flags of `engine-note read`, after --")
    given = parser.parse_args()
    clips = [line for line in given.list.read_text(encoding="utf-8").splitlines() if line]
    if not clips:
        sys.exit(f"{given.list} names no clip")
    given.into.mkdir(parents=True, exist_ok=True)
    names = cut(clips, given.shard, given.into, given.flags)
    # The program uses all cores by itself: one task at a time on each worker.
    cluster = given.scheduler or LocalCluster(n_workers=given.workers, threads_per_worker=1, dashboard_address=None)
    with Client(cluster) as client:
        read_all(client, names, given.into.resolve(), given.program, given.flags)
    if not given.scheduler:
        cluster.close()
    if not given.out:
        return
    unread = join(names, given.into, given.out)
    for clip in unread:
        print(f"not read: {clip}", file=sys.stderr)
    print(f"{len(clips) - len(unread)} of {len(clips)} clips are in {given.out}", file=sys.stderr)
    sys.exit(3 if unread else 0)


if __name__ == "__main__":
    main()
