#!/usr/bin/env python3
"""Another model of the sound of a two-stroke than src/synth, so that what is fitted to both leans on neither.

    python3 examples/fit/another_engine.py WORK/engines --count 400 --first 1

writes A<n>.wav and A<n>.truth.json, which `fit.py prepare` reads. Made from formulas, turn by turn: a blowdown pulse with
a rarefaction behind it, an intake pulse, noise that follows both, two to four resonances of a muffler, one reflection, a
tail of decaying noise for a room. A missed firing costs speed. The ranges are drawn wide: no source, nothing in it was
measured. The same number gives the same clip.
"""
import argparse
import json
import os

import numpy as np
from scipy.io import wavfile
from scipy.signal import butter, fftconvolve, lfilter

RATE, SECONDS = 48_000, 10.0
N = int(RATE * SECONDS)
KINDS = dict(idle=0.13, part=0.13, full=0.25, snaps=0.18, ramps=0.10, limiter=0.11, change=0.10)
STYLES = ("second", "third", "random", "mixed", "bursts")
BURSTS = 0.25  # correlation of one turn with the next from which cuts come in bursts
PINK = ([0.049922035, -0.095993537, 0.050612699, -0.004408786], [1, -2.494956002, 2.017265875, -0.522189400])  # from memory


def band(low, high):
    return butter(2, [low, high], "band", fs=RATE)


def rms(x):
    return np.sqrt(np.mean(np.square(x))) + 1e-12


def log_uniform(r, low, high):
    return np.exp(r.uniform(np.log(low), np.log(high)))


def slow_noise(r, n, seconds, rate):
    a = np.exp(-1 / (seconds * rate))
    return lfilter([np.sqrt(1 - a * a)], [1, -a], r.standard_normal(n))


def throttle(r, kind, idle, full):
    """Speed that the engine tends to and how rich it is, both each millisecond."""
    m = int(SECONDS * 1000)
    speed, rich = np.full(m, full), np.zeros(m)
    if kind == "idle":
        speed[:] = idle
    elif kind == "part":
        speed[:] = r.uniform(idle * 1.4, full * 0.9)
    elif kind == "snaps":
        speed[:] = idle
        at = r.uniform(0.5, 2)
        while at < SECONDS - 1:
            held = r.uniform(0.6, 2.5)
            speed[int(at * 1000) : int((at + held) * 1000)] = full * r.uniform(0.8, 1)
            at += held + r.uniform(1, 3)
    elif kind == "ramps":
        at, to = [0.0], [r.uniform(idle, full)]
        while at[-1] < SECONDS:
            at.append(at[-1] + r.uniform(0.7, 2.5))
            to.append(r.uniform(idle, full))
        speed = np.interp(np.arange(m) / 1000, at, to)
    if kind in ("full", "part", "snaps") and r.random() < 0.55:
        rich[:] = log_uniform(r, 0.06, 1)
    if kind == "change":
        cut = int(r.uniform(3, 7) * 1000)
        rich[:cut] = log_uniform(r, 0.1, 1)
        rich = rich[::-1].copy() if r.random() < 0.5 else rich
    return speed, rich


class Skips:
    """Which turns of a rich engine do not fire."""

    def __init__(self, r, style):
        self.r, self.style, self.since, self.n, self.burst = r, style, 9, 0, 0
        self.slip = r.uniform(0.003, 0.05)

    def fires(self, rich, at):
        r = self.r
        self.n += 1
        if self.style == "second":
            fires = not (self.since >= 1 and r.random() < min(1, rich * 1.05)) and r.random() > self.slip * 0.5
        elif self.style == "third":
            self.n += r.random() < self.slip
            fires = not (self.n % 3 == 0 and r.random() < max(rich, 0.6))
        elif self.style == "random":
            fires = r.random() > 0.55 * rich
        elif self.style == "mixed":
            every = 2 if np.sin(2 * np.pi * 0.7 * at) > 0 else int(r.choice([3, 4]))
            fires = not (self.since >= every - 1 and r.random() < rich)
        else:
            if not self.burst and r.random() < 0.08 * rich + 0.01:
                self.burst = int(r.integers(3, 12))
            fires = self.burst % 2 == 0
            self.burst = max(self.burst - 1, 0)
        self.since = self.since + 1 if fires else 0
        return fires


def limited(r, mode, state, speed, ceiling):
    """Whether a coil with a ceiling lets this turn fire."""
    if speed > ceiling:
        state["cut"] = True
    if speed < ceiling * state["back"]:
        state["cut"] = False
    if not state["cut"]:
        return True
    state["n"] += 1
    return {"all": False, "second": state["n"] % 2 == 0, "most": r.random() < 0.25}[mode]


def turns(r, kind, idle, full):
    """Start, length, firing, strength and label of each turn."""
    target, rich = throttle(r, kind, idle, full)
    skips = Skips(r, STYLES[r.integers(len(STYLES))])
    mode, state = str(r.choice(["all", "second", "most"])), dict(cut=False, n=0, back=1 - log_uniform(r, 0.003, 0.03))
    varies, varies_at_idle = log_uniform(r, 0.02, 0.12), r.uniform(0.08, 0.35)
    up, down = r.uniform(0.08, 0.25), r.uniform(0.25, 0.7)
    wander = slow_noise(r, len(target), 0.3, 1000) * r.uniform(0.0003, 0.0008)
    shakes, shakes_at_idle = log_uniform(r, 0.0002, 0.002), r.uniform(0.002, 0.012)
    pushes, drags = r.uniform(0.001, 0.006), r.uniform(0.001, 0.006)
    costs = log_uniform(r, 0.0003, 0.004)
    speed, at, out = target[0], 0.0, []
    while at < SECONDS:
        i = min(int(at * 1000), len(target) - 1)
        idles = speed < idle * 1.3
        fires, label = True, "clean"
        if kind == "limiter":
            fires, label = limited(r, mode, state, speed, full), "limiter"
        elif rich[i] > 0 and not idles:
            fires, label = skips.fires(rich[i], at), "four-stroking"
        strength = max(1 + (varies_at_idle if idles else varies) * r.standard_normal(), 0.15)
        seconds = 60 / speed * (1 + wander[i]) * (1 + (shakes_at_idle if idles else shakes) * r.standard_normal())
        out.append((at, seconds, fires, strength, label))
        if kind == "limiter":
            # Of the turns that a cut lets fire, none drives it further up.
            speed *= 1 + (-drags if state["cut"] else pushes) * r.uniform(0.5, 1.5) * (0.5 if state["cut"] and fires else 1)
        else:
            aim = target[i] * (1 - 0.06 * rich[i])
            speed += (aim - speed) * (1 - np.exp(-60 / speed / (up if aim > speed else down)))
            if label == "four-stroking":
                speed *= 1 + (costs * 0.4 if fires else -costs * r.uniform(0.5, 1.5))
        speed = max(speed, 1_700.0)
        at += seconds
    return out


def pulses(r, rows, full):
    """Exhaust and intake, turn by turn, and how strong the noise with them is."""
    y, noise = np.zeros(N + RATE), np.zeros(N + RATE)
    skipped = log_uniform(r, 0.03, 0.4)
    width, rise, rarefies = r.uniform(25, 80), r.uniform(0.05, 0.3), r.uniform(0.2, 0.7)
    second, later, hiss = r.uniform(0, 0.4), r.uniform(0.3, 0.7), r.uniform(0.02, 0.2)
    for at, seconds, fires, strength, _ in rows:
        exhaust = strength * (1 if fires else skipped) * (60 / seconds / full) ** 0.3
        for delay, gain, wide in ((0, exhaust, width), (later * seconds, second * 0.6 * strength, width * 0.8)):
            wide *= seconds / 360
            first = int((at + delay) * RATE) + 1
            last = min(first + int(6 * wide * RATE) + 2, len(y))
            s = (np.arange(first, last) / RATE - at - delay) / wide
            y[first:last] += gain * ((1 - np.exp(-s / rise)) * np.exp(-2.2 * s) - 0.25 * rarefies * np.exp(-(((s - 1.9) / 0.7) ** 2)))
        first, last = int(at * RATE), int((at + seconds) * RATE)
        q = np.arange(last - first) / (last - first)
        noise[first:last] = exhaust * 0.6 * np.exp(-8 * q) + strength * (hiss * np.exp(-(((q - later) / 0.12) ** 2)) + 0.02)
    return y + r.uniform(0.3, 1.5) * noise * lfilter(*band(r.uniform(300, 900), r.uniform(3_000, 9_000)), r.standard_normal(len(y)))


def resounds(r, y):
    """Muffler, the path over the ground, and the room."""
    z = y * r.uniform(0.2, 1)
    for _ in range(int(r.integers(2, 5))):
        w, q = 2 * np.pi * log_uniform(r, 120, 2_500) / RATE, r.uniform(1.5, 9)
        a = np.sin(w) / (2 * q)
        z = z + r.uniform(0.3, 1.3) * lfilter([a, 0, -a], [1 + a, -2 * np.cos(w), 1 - a], y)
    late = int(r.uniform(0.001, 0.006) * RATE)
    z[late:] += r.uniform(-0.2, 0.7) * z[:-late]
    if r.random() < 0.5:
        n = int(r.uniform(0.15, 0.7) * RATE)
        h = r.standard_normal(n) * np.exp(-6.9 * np.arange(n) / n)
        z = z + r.uniform(0.1, 0.6) * fftconvolve(z, h / np.sqrt(np.sum(h * h)))[: len(z)]
    return z


def other_sounds(r, many):
    t, out = np.arange(N) / RATE, np.zeros(N)
    for _ in range(many):
        what = r.choice(["hum", "machine", "bird"])
        if what == "bird":
            x = np.sin(2 * np.pi * np.cumsum(2_500 + 800 * np.sin(2 * np.pi * 3 * t)) / RATE) * (np.sin(2 * np.pi * 0.8 * t) > 0.3)
        else:
            hertz, fall = (r.choice([50, 60]), 1.0) if what == "hum" else (r.uniform(20, 160), 0.5)
            x = sum(r.uniform(0.1, 1) / k**fall * np.sin(2 * np.pi * hertz * k * t + r.uniform(0, 6)) for k in range(1, 15))
        out += x / rms(x) * r.uniform(0.3, 1)
    return out


def surroundings(r, z):
    """Noise, other sounds and the microphone. Gives the sound, the ratio of engine to the rest in dB, and the roll-off."""
    snr, many = int(r.choice([0, 10, 20, 30])), int(r.integers(1, 3)) if r.random() < 0.35 else 0
    noise = r.standard_normal(N)
    color = r.choice(["white", "pink", "wind"])
    if color == "pink":
        noise = lfilter(*PINK, noise)
    elif color == "wind":
        noise = lfilter(*butter(1, 120, fs=RATE), noise) * (1 + 0.7 * np.abs(slow_noise(r, N, 0.4, RATE)))
    rest = noise / rms(noise) + other_sounds(r, many)
    out = z / rms(z) + rest / rms(rest) * 10 ** (-snr / 20)
    roll = int(r.choice([0, 20, 60, 100, 150, 300]))
    if roll:
        out = lfilter(*butter(2, roll, "high", fs=RATE), out)
    if r.random() < 0.15:
        a = np.exp(-1 / (0.15 * RATE))
        out = out / np.sqrt(lfilter([1 - a], [1, -a], out**2) + 1e-3 * np.mean(out**2))
    out = out / np.max(np.abs(out)) * r.uniform(0.1, 0.9)
    return (np.clip(out * 3, -0.95, 0.95) if r.random() < 0.12 else out), snr, roll, many


def truth(rows):
    """Each 10 ms: the speed over 0.1 s, and the skips of the half second around. Steady by the rules of synth::Truth; where
    a coil cuts by turns instead of in bursts nobody can tell it from an engine that skips, so that no frame of it is."""
    starts = np.array([row[0] for row in rows] + [rows[-1][0] + rows[-1][1]])
    fired, labels = np.array([row[2] for row in rows]), [row[4] for row in rows]
    bursts = fired.all() or np.corrcoef(fired[1:], fired[:-1])[0, 1] > BURSTS
    turn = lambda t: np.interp(t, starts, np.arange(len(starts)))
    share = lambda t, half: 1 - fired[int(turn(t - half)) : max(int(turn(t + half)), int(turn(t - half)) + 1)].mean()
    out = []
    for i in range(int(SECONDS * 100)):
        t = round(0.005 + 0.01 * i, 3)
        speed, before, after = (600 * (turn(t + d + 0.05) - turn(t + d - 0.05)) for d in (0, -0.25, 0.25))
        near = set(labels[int(turn(t - 0.25)) : int(turn(t + 0.25)) + 1])
        label, skipped, close = labels[min(int(turn(t)), len(labels) - 1)], share(t, 0.5), share(t, 0.25)
        steady = len(near) == 1 and abs(after - before) < 0.01 * speed * (3 if label == "limiter" else 1) and 0.3 < t < SECONDS - 0.3
        if label == "four-stroking" and skipped == 0 and close == 0:
            label = "clean"
        elif label == "four-stroking" and min(skipped, close) < 0.06:
            steady = False
        steady &= label != "limiter" or bursts
        out.append(dict(t_s=t, rpm=round(speed, 2), firing=label, skip_ratio=round(float(close), 4), every=None, steady=bool(steady), engine=True, snr_db=None))
    return out


def clip(number):
    r = np.random.default_rng(number)
    idle, full = r.uniform(2_200, 3_400), r.uniform(6_300, 14_000)
    kind = str(r.choice(list(KINDS), p=np.array(list(KINDS.values())) / sum(KINDS.values())))
    rows = turns(r, kind, idle, full)
    z = resounds(r, pulses(r, rows, full))
    starts = np.array([row[0] for row in rows] + [rows[-1][0] + rows[-1][1]])
    phase = np.interp(np.arange(len(z)) / RATE, starts, np.arange(len(starts)))
    loud = rms(z[:N])
    z += loud * r.uniform(0, 0.25) * np.sin(2 * np.pi * int(r.integers(7, 24)) * phase)
    for k in range(1, int(r.integers(2, 6))):
        z += loud * r.uniform(0, 0.12) * np.sin(2 * np.pi * k * phase + r.uniform(0, 6))
    if r.random() < 0.3:
        z += loud * r.uniform(0.05, 0.3) * lfilter(*band(800, 5_000), r.standard_normal(len(z)))
    sound, snr, roll, many = surroundings(r, z[:N])
    about = dict(note=f"synthetic, another model: {kind}", synthetic=True, seconds=SECONDS, sample_rate=RATE, engine=True, cycle="two-stroke", cylinders=1)
    heard = dict(snr_db=snr, roll_off=dict(hertz=roll, order=2) if roll else None, clipped=0.0, other_sounds=many)
    return sound, dict(about, **heard, turns=[], rows=truth(rows))


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("folder")
    options.add_argument("--first", type=int, default=1)
    options.add_argument("--count", type=int, default=10)
    o = options.parse_args()
    os.makedirs(o.folder, exist_ok=True)
    for number in range(o.first, o.first + o.count):
        sound, known = clip(number)
        wavfile.write(f"{o.folder}/A{number}.wav", RATE, (sound * 32_767).astype(np.int16))
        json.dump(known, open(f"{o.folder}/A{number}.truth.json", "w"))
