"""Loads our tables in DuckDB, pandas and pyarrow, and runs what docs/tables.md shows.

The tables and the answers were written by `cargo test --test tables` into the folder that is named.
"""

import datetime
import json
import math
import os
import pathlib
import re
import sys

import duckdb
import numpy
import pandas
import pyarrow.parquet as parquet

# Each of them is shown in DuckDB and in pandas.
SOURCES = ["clips.parquet", "clips.ndjson", "clips.csv", "book.json", "frames.parquet", "frames.csv"]
ROOT = pathlib.Path(__file__).resolve().parents[2]


def plain(value):
    """The same with nothing of pandas in it: lists, dictionaries, None for what is missing."""
    if isinstance(value, numpy.ndarray):
        return [plain(it) for it in value]
    if isinstance(value, (list, tuple)):
        return [plain(it) for it in value]
    if isinstance(value, dict):
        return {name: plain(it) for name, it in value.items()}
    if isinstance(value, (datetime.date, pandas.Timestamp)):
        return value.strftime("%Y-%m-%d")
    if isinstance(value, numpy.generic):
        value = value.item()
    if value is None or value is pandas.NA or (isinstance(value, float) and math.isnan(value)):
        return None
    return value


def same(what, found, expected, tolerance=0.0):
    """Fails with the first place where two values differ."""
    if isinstance(expected, dict) and isinstance(found, dict):
        if found.keys() != expected.keys():
            sys.exit(f"{what}: names {found.keys() ^ expected.keys()} are on one side only")
        for name in expected:
            same(f"{what}.{name}", found[name], expected[name], tolerance)
    elif isinstance(expected, list) and isinstance(found, list):
        if len(found) != len(expected):
            sys.exit(f"{what}: {len(found)} instead of {len(expected)}")
        for at, (one, other) in enumerate(zip(found, expected)):
            same(f"{what}[{at}]", one, other, tolerance)
    elif isinstance(expected, float) and isinstance(found, (int, float)) and tolerance:
        if abs(found - expected) > tolerance * max(1.0, abs(expected)):
            sys.exit(f"{what}: {found} instead of {expected}")
    elif found != expected:
        sys.exit(f"{what}: {found!r} instead of {expected!r}")


def fails(what):
    """Proves that a comparison can fail."""
    try:
        what()
    except SystemExit:
        return
    sys.exit("the comparison lets a difference through")


def rows(relation):
    return [dict(zip(relation.columns, plain(row))) for row in relation.fetchall()]


def records(table):
    return plain(table.to_dict("records"))


def single(record, names):
    """The cells of a clip in CSV, from the JSON of the clip."""
    cells = {}
    for name in names:
        value = record
        for part in name.split("."):
            value = None if value is None else value[part]
        cells[name] = value
    return cells


def loads():
    clips = [json.loads(line) for line in open("clips.ndjson", encoding="utf-8")]
    frames = [{"path": clip["clip"]["path"], **frame} for clip in clips for frame in clip["frames"]]
    brief = [{name: it for name, it in clip.items() if name != "frames"} for clip in clips]
    assert len(clips) == 6 and len(frames) > 2_000

    same("Parquet, pyarrow", parquet.read_table("clips.parquet").to_pylist(), brief)
    same("Parquet, DuckDB", rows(duckdb.sql("FROM 'clips.parquet'")), brief)
    same("Parquet, pandas", records(pandas.read_parquet("clips.parquet")), brief)
    everything = duckdb.sql("FROM read_ndjson('clips.ndjson', sample_size = -1)")
    same("NDJSON, DuckDB", rows(everything), clips)
    # pandas' reader of JSON is not exact to the last digit.
    same("NDJSON, pandas", records(pandas.read_json("clips.ndjson", lines=True)), clips, 1e-12)

    same("frames, Parquet, pyarrow", parquet.read_table("frames.parquet").to_pylist(), frames)
    same("frames, Parquet, DuckDB", rows(duckdb.sql("FROM 'frames.parquet'")), frames)
    same("frames, Parquet, pandas", records(pandas.read_parquet("frames.parquet")), frames)
    same("frames, CSV, DuckDB", rows(duckdb.sql("FROM read_csv('frames.csv', sample_size = -1)")), frames)
    same("frames, CSV, pandas", records(pandas.read_csv("frames.csv")), frames)

    table = pandas.read_csv("clips.csv")
    cells = [single(clip, table.columns) for clip in clips]
    same("clips, CSV, pandas", records(table), cells)
    same("clips, CSV, DuckDB", rows(duckdb.sql("FROM read_csv('clips.csv', sample_size = -1)")), cells)

    wrong = json.loads(json.dumps(brief))
    wrong[1]["spans"][0]["start_s"] += 0.0001
    fails(lambda: same("", brief, wrong))


def several_row_groups():
    """Closed forms, as they stand at `long` in tests/tables.rs."""
    n = numpy.arange(400_000)
    readable = n % 7 != 0
    for name, table in {
        "pandas": pandas.read_parquet("long.parquet"),
        "DuckDB": duckdb.sql("FROM 'long.parquet'").df(),
    }.items():
        assert numpy.allclose(table["t_s"], 0.016 * n, rtol=0, atol=1e-9), name
        assert (table["rpm"].notna() == readable).all(), name
        assert (table["rpm"][readable] == 2_000 + n[readable] % 5_000).all(), name
        assert (table["unreadable"][~readable] == "no-engine").all(), name
        assert table["unreadable"][readable].isna().all(), name
    assert parquet.ParquetFile("long.parquet").num_row_groups > 1


def answer(language, code):
    """What a block of the page comes to."""
    if language == "sql":
        return plain(duckdb.sql(code).fetchall())
    names = {}
    exec(compile(code.replace("print(trends)", ""), "docs/tables.md", "exec"), names)
    return plain(names["trends"].values.tolist())


def page():
    text = (ROOT / "docs/tables.md").read_text(encoding="utf-8")
    answers = json.loads(pathlib.Path("answers.json").read_text(encoding="utf-8"))
    run = {}
    for language, code in re.findall(r"```(sql|python)\n(.*?)```", text, re.DOTALL):
        kind = "book" if "book.json" in code else "frames" if "frames." in code else "fleet"
        lines = [line for line in code.splitlines() if line.strip()]
        assert len(lines) <= 10, f"{len(lines)} lines are more than ten:\n{code}"
        same(f"{language} on this page:\n{code}", answer(language, code), answers[kind], 1e-9)
        source = next(name for name in SOURCES if name in code)
        run.setdefault(source, []).append(language)
    for source in SOURCES:
        assert sorted(run.get(source, [])) == ["python", "sql"], f"{source} is not shown in both: {run}"
    wrong = json.loads(json.dumps(answers["fleet"]))
    wrong[2][3] += 0.01
    fails(lambda: same("", answers["fleet"], wrong, 1e-9))
    return sum(map(len, run.values()))


os.chdir(sys.argv[1])
loads()
several_row_groups()
blocks = page()
print(f"tables: {blocks} blocks of docs/tables.md and every row agree in DuckDB and pandas")
