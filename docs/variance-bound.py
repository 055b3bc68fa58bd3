#!/usr/bin/env python3
"""Draws variance-bound.svg from the table that the test prints:

    cargo test --test variance_bound -- --nocapture | grep -E '^-?[0-9.]+,' > docs/variance-bound.csv
    python3 docs/variance-bound.py
"""
import csv
from collections import defaultdict
from pathlib import Path

import matplotlib

matplotlib.use("svg")
matplotlib.rcParams["svg.hashsalt"] = "engine-note"
import matplotlib.pyplot as plt

HERE = Path(__file__).parent
notes = defaultdict(list)
with open(HERE / "variance-bound.csv") as file:
    for snr, note, bound, error, bias, _ in csv.reader(file):
        notes[float(note)].append((float(snr), float(bound), float(error), abs(float(bias))))

figure, axes = plt.subplots(figsize=(8, 5), facecolor="white")
for (note, rows), colour, mark in zip(sorted(notes.items()), ("#1b6ca8", "#c1440e", "#2e7d32", "#6a3d9a"), "osD^"):
    snr, bound, error, bias = zip(*rows)
    axes.semilogy(snr, error, "-", marker=mark, color=colour, label=f"{note:g} Hz ({60 * note:,.0f} rpm): error")
    axes.semilogy(snr, bound, "--", color=colour, linewidth=1)
    axes.semilogy(snr, bias, ":", marker=mark, markersize=3, color=colour, linewidth=1)
axes.plot([], [], "k--", linewidth=1, label="variance bound of one look")
axes.plot([], [], "k:", linewidth=1, label="mean error (bias), size of")
axes.set_xlabel("power of all lines over noise up to 4 kHz (dB)")
axes.set_ylabel("error of the crank speed (% of the speed)")
axes.set_title("Fine reading of a steady harmonic sound in white noise")
axes.grid(True, which="both", color="#dddddd", linewidth=0.5)
axes.legend(fontsize=8)
figure.tight_layout()
figure.savefig(HERE / "variance-bound.svg", metadata={"Date": None})
