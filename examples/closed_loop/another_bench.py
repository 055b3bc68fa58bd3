#!/usr/bin/env python3
"""A second bench for `engine-note tune`: another engine and another sound than src/synth, so that a guide that leans on
that model shows it.

    python3 examples/closed_loop/another_bench.py target/release/engine-note --count 20 --first 1

Each number draws a mis-set healthy engine, or one with a planted fault. Its sound goes into the program as it is made,
prompts come back through the event stream (docs/events.md), and hands by the rules of the first bench (technician.rs: 1
to 3 s late, up to 20 % wrong) turn the screws. Made from formulas; all ranges are drawn wide, no source. A line for each
engine says how it was left; the same number gives the same run. Needs numpy and scipy.
"""
import argparse
import json
import math
import os
import queue
import subprocess
import sys
import tempfile
import threading

import numpy as np
from scipy.signal import butter, lfilter

RATE, HOP = 16_000, 256
DT = HOP / RATE
FAULTS = ("air-leak", "fuel-starvation", "clutch", "muffler-screen", "attachment")
TURN_ERROR, RIGHT = 0.2, 1 / 16
LONGEST = 3_600  # seconds until the sound ends
BEHIND = 20  # hops that the readings may be behind the sound: 0.32 s


def log_uniform(r, low, high):
    return float(np.exp(r.uniform(np.log(low), np.log(high))))


class Engine:
    """What its speeds and its firing do under screws and throttle. Mixtures in turns, rich positive."""

    def __init__(self, r, fault):
        self.r = r
        self.leaks, self.starves, self.choked, self.load, self.hunted = None, None, 1.0, 1.0, 0.0
        use = str(r.choice(["trimmer head", "brush blade", "saw", "blower", "hedge"]))
        self.barrel = r.random() < 0.4
        centre = r.uniform(2_500, 3_100)
        self.idle_range = (50 * round((centre - 200) / 50), 50 * round((centre + 200) / 50))
        self.h0, self.l0 = r.uniform(0.9, 1.7), r.uniform(0.9, 1.6)
        self.enrich = 0.0 if self.barrel else r.uniform(0.12, 0.25)
        self.low_full = r.uniform(0.02, 0.12) if self.barrel else r.uniform(0.08, 0.25)
        self.high_idle = r.uniform(0.2, 0.5) if self.barrel else r.uniform(0.02, 0.12)
        # Full throttle: a round top, then slopes; how much leaner than just four-stroking the top is.
        self.peak, self.leaner = r.uniform(8_000, 13_000), r.uniform(0.08, 0.28)
        self.rich_full, self.lean_full, self.round = r.uniform(0.18, 0.45), r.uniform(0.25, 0.6), r.uniform(0.05, 0.15)
        # Skips: 0.5 (1 - e^(-x / w)) from an onset on; at x = `onset` it just four-strokes.
        self.grows, just = r.uniform(0.15, 0.4), r.uniform(0.08, 0.14)
        self.onset = -self.grows * math.log(1 - 2 * just)
        self.again = r.random() < 0.65  # fires again after a miss
        self.slows = r.uniform(0, 0.12)
        at_ideal = self.full_speed(0.0)
        self.maximum = 50 * math.ceil(at_ideal * (1 + r.uniform(0.002, 0.04)) / 50)
        if r.random() < 0.1:
            self.maximum = 50 * math.floor(at_ideal * (1 - r.uniform(0.0, 0.02)) / 50)
        self.ceiling = self.maximum + r.uniform(-0.01, 0.05) * self.maximum if r.random() < 0.4 else None
        self.cut_back, self.cut_mode = log_uniform(r, 0.004, 0.025), str(r.choice(["all", "most"]))
        # Idle.
        self.touch, self.a_turn = r.uniform(1_500, 2_300), r.uniform(350, 900)
        self.rich_idle, self.lean_idle, self.round_idle = r.uniform(0.2, 0.5), r.uniform(0.4, 0.9), r.uniform(0.04, 0.12)
        self.stall = r.uniform(1_200, 1_600)
        self.bites = None if use == "blower" else centre * r.uniform(1.3, 1.5)
        self.clutch_in = None if self.bites is None else 50 * round(self.bites * r.uniform(0.96, 1.04) / 50)
        self.up, self.down, self.lag = r.uniform(0.1, 0.25), r.uniform(0.3, 0.8), r.uniform(0.25, 0.7)
        self.warms, self.cold_lean, self.cold_slow = r.uniform(50, 130), r.uniform(0, 0.12), r.uniform(0, 0.1)
        self.found = dict(high=self.h0 + r.uniform(-0.7, 0.7), low=self.l0 + r.uniform(-0.5, 0.5), idle=r.uniform(0.5, 2.2))
        told = r.random() < 2 / 3
        self.profile = dict(
            use=use,
            carburetor="barrel-valve" if self.barrel else "butterfly",
            coil=("limited" if self.ceiling else "plain") if told else "unknown",
            limiter=50 * round(self.ceiling / 50) if told and self.ceiling and r.random() < 0.5 else None,
        )
        if fault == "air-leak":
            self.leaks = dict(
                idle=r.uniform(0.25, 0.55), full=r.uniform(0.15, 0.4), answers=r.uniform(0.25, 0.5), fast=r.uniform(300, 1_000),
                hunts=r.uniform(0.4, 1.1), deep=r.uniform(0.03, 0.08), hangs=r.uniform(3.5, 6),
            )  # fmt: skip
        elif fault == "fuel-starvation":
            self.starves = dict(lasts=r.uniform(1.5, 4), lean=r.uniform(0.5, 1), fades=r.uniform(0.08, 0.2))
        elif fault == "muffler-screen":
            self.choked = r.uniform(0.7, 0.85)
        elif fault == "attachment":
            self.load = r.uniform(0.72, 0.85) if r.random() < 0.5 else r.uniform(1.12, 1.25)
        if fault == "clutch" and self.bites:
            self.bites = r.uniform(0.92, 1.1) * centre
        self.fuel = 1.0
        self.as_found = str(r.choice(["warm", "cold", "stopped"]))
        self.uneven = r.uniform(0.08, 0.3)
        # State.
        self.heat = {"warm": 1.0, "cold": r.uniform(0, 0.2), "stopped": r.uniform(0, 0.6)}[self.as_found]
        self.runs, self.throttle, self.mix_i, self.mix_f = self.as_found != "stopped", 0.0, 0.0, 0.0
        self.bog, self.hang, self.slow, self.pulled = 0.0, 0.0, 0.0, 0.0
        self.cut, self.missed, self.wander = False, False, np.zeros(2)
        self.settle(self.found, 1e9)
        self.rpm = self.goal_idle(self.found) if self.runs else 0.0
        self.over = self.longest_over = self.fastest = 0.0

    def full_speed(self, m):
        x = m + self.leaner
        s = (self.rich_full if x > 0 else self.lean_full) * (math.hypot(x, self.round) - self.round)
        s *= 0.4 if self.choked < 1 or self.load != 1 else 1
        return self.peak * self.choked * self.load * (1 - s / (1 + s)) * (1 - self.slows * self.skips(m))

    def skips(self, m):
        m -= 0.5 if self.choked < 1 or self.load < 1 else 0
        return 0.5 * (1 - math.exp(-max(m + self.onset, 0) / self.grows))

    def mixtures(self, at):
        f = (at["high"] ** 0.85 - self.h0**0.85) / (0.85 * self.h0**-0.15) + self.low_full * (at["low"] - self.l0 - self.enrich)
        i = at["low"] - self.l0 + self.high_idle * (at["high"] - self.h0)
        cold = self.cold_lean * (1 - self.heat)
        if self.leaks:
            i, f = self.leaks["answers"] * i - self.leaks["idle"], self.leaks["answers"] * f - self.leaks["full"]
        if self.starves:
            f -= self.starves["lean"] * max(0, 1 - 2.5 * self.fuel)
        return i - cold, f - 0.5 * cold

    def settle(self, at, seconds):
        i, f = self.mixtures(at)
        share = 1 - math.exp(-seconds / self.lag)
        self.mix_i += share * (i - self.mix_i)
        self.mix_f += share * (f - self.mix_f)

    def goal_idle(self, at, mixture=None):
        m = self.mix_i if mixture is None else mixture
        s = (self.rich_idle if m > 0 else self.lean_idle) * (math.hypot(m, self.round_idle) - self.round_idle)
        n = (self.touch + self.a_turn * max(at["idle"], -0.3)) / (1 + s * (0.3 if self.leaks else 1)) + (self.leaks["fast"] if self.leaks else 0)
        if self.bites and n > self.bites:
            n = self.bites + 0.5 * (n - self.bites)
        return n

    def ideal(self, low):
        """Least and most that the high-speed screw may be out."""
        def rich_of(limit):
            m = np.arange(-self.leaner, 3, 0.002)
            n = np.array([self.full_speed(x) for x in m])
            above = np.flatnonzero(n > limit)
            return m[above[-1]] if len(above) else -9.0
        least = max(0.0, rich_of(self.maximum))
        lean, rich = (max(least, rich_of(self.ceiling - d)) for d in (300, 500)) if self.ceiling else (least, least)
        def screw(m):
            m -= self.low_full * (low - self.l0 - self.enrich)
            return (self.h0**0.85 + 0.85 * self.h0**-0.15 * m) ** (1 / 0.85)
        return screw(lean), screw(rich)

    def step(self, at, throttle, ignition, pulling):
        """A hop: the speed at its end."""
        r = self.r
        before = self.throttle
        self.throttle += float(np.clip(throttle - before, -6 * DT, 6 * DT))
        self.heat += (DT / self.warms * (1 + 2 * self.throttle) * (1 - self.heat)) if self.runs else -DT / 800 * self.heat
        self.settle(at, DT)
        self.wander += DT / np.array([1.2, 0.15]) * -self.wander + np.sqrt(2 * DT / np.array([1.2, 0.15])) * r.standard_normal(2)
        self.runs = self.runs and ignition
        if not self.runs:
            self.rpm *= math.exp(-DT / 0.15)
            self.hang = self.bog = 0.0
            if pulling and ignition:
                self.pulled += DT
                if self.pulled % 1.2 < 0.35:
                    self.rpm = max(self.rpm, 700 * math.sin(math.pi * (self.pulled % 1.2) / 0.35))
                if self.pulled > 2.5 + 2 * (1 - self.heat) and -0.7 < self.mix_i < 1.6:
                    self.runs, self.rpm, self.pulled = True, 1.2 * self.stall, 0.0
            else:
                self.pulled = 0.0
            return
        if before < 0.6 <= self.throttle and self.mix_i < -0.12:
            self.bog = 0.3 + min(1.5 * (-0.12 - self.mix_i), 0.7)
        idle = self.goal_idle(at) * (1 - self.cold_slow * (1 - self.heat))
        if self.leaks:
            self.hunted += 2 * math.pi * self.leaks["hunts"] * DT * (1 + 0.1 * self.wander[0])
            idle *= 1 + self.leaks["deep"] * math.sin(self.hunted)
        if self.starves:
            self.fuel = min(max(self.fuel + (-DT / self.starves["lasts"] if self.throttle > 0.6 else DT / 3 * (1 - self.fuel)), 0), 1)
        if self.throttle > 0.5:
            self.hang = 0.35 * idle if self.leaks else 0.3 * idle * float(np.clip((-0.15 - self.mix_i) / 0.25, 0, 1))
        elif self.throttle < 0.05:
            self.hang *= math.exp(-DT / (self.leaks["hangs"] if self.leaks else 2.5))
        full, fill = self.full_speed(self.mix_f), self.throttle**0.7
        if self.starves:
            full *= 1 - self.starves["fades"] * max(0, 1 - 2.5 * self.fuel)
        goal = idle + self.hang + (full - idle - self.hang) * fill
        if self.bog > 0:
            goal, self.bog = min(goal, 0.75 * self.rpm), self.bog - DT
        if self.cut:
            goal = 0.9 * self.rpm
        self.rpm += (goal - self.rpm) * (1 - math.exp(-DT / (self.up if goal > self.rpm else self.down)))
        self.slow = self.slow + DT if self.rpm < self.stall else 0.0
        if self.slow > 0.3:
            self.runs = False
        self.over = self.over + DT if self.rpm > 1.005 * self.maximum else 0.0
        self.longest_over, self.fastest = max(self.longest_over, self.over), max(self.fastest, self.rpm)

    def fires(self, rpm):
        r = self.r
        if not self.runs:
            return False
        if self.ceiling:
            self.cut = rpm > self.ceiling or (self.cut and rpm > self.ceiling * (1 - self.cut_back))
            if self.cut:
                return self.cut_mode == "most" and r.random() < 0.15
        if self.throttle < 0.15:
            share = 0.35 if self.rpm > 1.7 * self.idle_range[0] else 0.03
        else:
            share = self.skips(self.mix_f) * min(1.0, self.throttle**1.5)
        if self.again and share <= 0.5:
            # Odds after a firing that come to this share of all turns.
            missed = not self.missed and r.random() < share / (1 - share)
        else:
            missed = r.random() < share
        self.missed = missed
        return not missed

    def shakes(self):
        """Deviation of a turn's length, and how far the speed wanders just now."""
        if self.throttle < 0.15:
            return 0.006, 0.006 * self.wander[0] + 0.004 * self.wander[1]
        return 0.0008, 0.0015 * self.wander[0]


class Sound:
    """Pulses and noise turn by turn, resonances, a reflection, a microphone."""

    def __init__(self, r, engine):
        self.r, self.e = r, engine
        self.width, self.rise, self.rarefies = r.uniform(25, 80), r.uniform(0.05, 0.3), r.uniform(0.2, 0.7)
        self.skipped, self.second = log_uniform(r, 0.03, 0.4), r.uniform(0, 0.4)
        self.later, self.hiss = r.uniform(0.3, 0.7), r.uniform(0.02, 0.2)
        self.noisy, self.varies = r.uniform(0.3, 1.5), log_uniform(r, 0.02, 0.1)
        self.tail, self.tail_noise = np.zeros(RATE), np.zeros(RATE)
        self.next = 0.0
        self.chains = [(1 - 0.6 * r.random(), [1.0], [1.0], np.zeros(0))]
        for _ in range(int(r.integers(2, 5))):
            w, q = 2 * np.pi * log_uniform(r, 120, 2_500) / RATE, r.uniform(1.5, 9)
            a = np.sin(w) / (2 * q)
            self.chains.append([r.uniform(0.3, 1.3), [a, 0, -a], [1 + a, -2 * np.cos(w), 1 - a], np.zeros(2)])
        b, a = butter(2, [r.uniform(300, 900), r.uniform(3_000, 7_000)], "band", fs=RATE)
        self.hissing = [b, a, np.zeros(max(len(a), len(b)) - 1)]
        self.late, self.back, self.gain2 = int(r.uniform(0.001, 0.006) * RATE), np.zeros(200), r.uniform(-0.2, 0.6)
        roll = float(r.choice([0, 0, 20, 60, 100, 150]))
        self.roll = None if roll == 0 else [*butter(2, roll, "high", fs=RATE), np.zeros(2)]
        self.loud, self.snr, self.gain = None, r.uniform(10, 30), None
        self.pink, self.wind = r.random() < 0.5, np.zeros(1)
        self.blades, self.fan = int(r.integers(7, 24)), r.uniform(0, 0.25)
        self.angle = 0.0

    def hop(self):
        e, r = self.e, self.r
        out, noise = self.tail, self.tail_noise
        while self.next < DT:
            rpm = e.rpm
            if rpm < 100:
                self.next = DT
                break
            jitter, wander = e.shakes()
            seconds = 60 / rpm / (1 + wander) * (1 + jitter * r.standard_normal())
            fires = e.fires(60 / seconds)
            strength = max(1 + (e.uneven if e.throttle < 0.15 else self.varies) * r.standard_normal(), 0.15)
            load = 0.35 + 0.65 * e.throttle
            exhaust = strength * load * (1 if fires else self.skipped) * (60 / seconds / 10_000) ** 0.3
            intake = self.later * seconds, self.second * 0.6 * strength * load, self.width * 0.8
            for delay, gain, wide in ((0, exhaust, self.width), intake):
                wide *= seconds / 360
                first = int((self.next + delay) * RATE) + 1
                last = min(first + int(6 * wide * RATE) + 2, len(out))
                s = (np.arange(first, last) / RATE - self.next - delay) / wide
                out[first:last] += gain * ((1 - np.exp(-s / self.rise)) * np.exp(-2.2 * s) - 0.25 * self.rarefies * np.exp(-(((s - 1.9) / 0.7) ** 2)))
            first, last = int(self.next * RATE), int((self.next + seconds) * RATE)
            q = np.arange(last - first) / max(last - first, 1)
            hisses = self.hiss * np.exp(-(((q - self.later) / 0.12) ** 2)) + 0.02
            noise[first:last] = exhaust * 0.6 * np.exp(-8 * q) + load * strength * hisses
            self.next += seconds
        self.next -= DT
        y, n = out[:HOP].copy(), noise[:HOP].copy()
        self.tail, self.tail_noise = np.concatenate([out[HOP:], np.zeros(HOP)]), np.concatenate([noise[HOP:], np.zeros(HOP)])
        b, a, z = self.hissing
        x, self.hissing[2] = lfilter(b, a, r.standard_normal(HOP), zi=z)
        y = y + self.noisy * n * x
        z = self.chains[0][0] * y
        for c in self.chains[1:]:
            x, c[3] = lfilter(c[1], c[2], y, zi=c[3])
            z = z + c[0] * x
        self.angle += 2 * np.pi * e.rpm / 60 * DT
        if e.rpm > 1_000 and self.loud:
            turned = self.angle + 2 * np.pi * e.rpm / 60 * np.arange(HOP) / RATE
            z = z + self.fan * self.loud * (e.rpm / 10_000) ** 2 * np.sin(self.blades * turned)
        held = np.concatenate([self.back, z])
        z = z + self.gain2 * held[len(self.back) - self.late : len(held) - self.late]
        self.back = held[-200:]
        if self.loud is None and e.runs:
            self.loud = float(np.sqrt(np.mean(z * z))) + 1e-6
        noise = r.standard_normal(HOP)
        if self.pink:
            noise, self.wind = lfilter([0.35], [1, -0.93], noise, zi=self.wind)
        z = z + (self.loud or 0.05) * 10 ** (-self.snr / 20) * noise
        if self.roll:
            z, self.roll[2] = lfilter(self.roll[0], self.roll[1], z, zi=self.roll[2])
        if self.gain is None:
            self.gain = 0.06 / (self.loud or 0.05)
        return np.clip(z * self.gain, -1, 1)


class Hands:
    """Obeys prompts late and inexactly, and says what can be seen."""

    def __init__(self, r, found, runs):
        self.r, self.at, self.throttle, self.ignition, self.pulling = r, dict(found), 0.0, True, False
        self.id, self.ask, self.acts, self.turn, self.moves = None, [], [], None, 0
        self.vary, self.pull_from, self.nurse, self.looks, self.stalled, self.ran = None, None, None, None, None, runs

    def hear(self, p, t):
        if p["id"] == self.id:
            return
        r = self.r
        self.id, self.ask = p["id"], p["ask"] or []
        self.acts, self.turn, self.looks = [], None, None
        at, kind = t + r.uniform(1, 3), p["throttle"]
        if kind:
            self.acts.append((at, kind))
            at += 0.4
            if kind == "snap":
                at += 1.1 + r.uniform(-0.2, 0.2)
                self.acts.append((at, "idle"))
                at += 0.3
        if p["screw"] and p["turns"] is not None:
            s, made = p["screw"], p["turns"] * (1 + r.uniform(-TURN_ERROR, TURN_ERROR))
            out = (p["direction"] == "in") == (s == "idle")
            begin = at + {"seat": 4.0, "touch": 3.0}.get(p["from"], 0.5)
            if p["from"] == "rich-stop":
                self.acts.append((at + 1, "say cannot"))
            else:
                to = made if p["from"] == "seat" else (made if out else -made) + (0 if p["from"] == "touch" else self.at[s])
                low, high = (-1, 5) if s == "idle" else (0, 4)
                end = begin + 0.4 + 2.5 * p["turns"]
                self.acts.append((begin, (s, min(max(to, low), high), begin, end, not low <= to <= high)))
                self.moves += 1
                at = end
        elif not kind:
            at += r.uniform(1, 4)
        if kind != "start":
            self.acts.append((at + 0.3, "say done"))
        self.acts.append((at + r.uniform(0.7, 2), "look"))

    def say(self, word, t, said):
        if word in self.ask:
            # Within the hop that is written next, so that it never matters how far the program is.
            said.append(json.dumps(dict(t_s=round(t + DT / 2, 4), answer=word, id=self.id)))

    def tick(self, t, runs, turns):
        said, r = [], self.r
        due = sorted((a for a in self.acts if a[0] <= t), key=lambda a: a[0])
        self.acts = [a for a in self.acts if a[0] > t]
        for _, a in due:
            if isinstance(a, tuple):
                self.turn = [a, self.at[a[0]]]
            elif a in ("idle", "full", "snap"):
                self.throttle, self.vary, self.nurse = (0.0 if a == "idle" else 1.0), None, None
            elif a == "part":
                self.vary = t
            elif a == "start":
                if runs:
                    self.say("started", t, said)
                else:
                    self.ignition, self.pulling, self.throttle, self.pull_from, self.vary = True, True, 0.15, t, None
            elif a == "stop":
                self.ignition, self.throttle, self.vary = False, 0.0, None
            elif a == "look":
                self.looks = (turns, t)
                if self.throttle < 0.05:
                    self.say("attachment-turning" if turns else "attachment-still", t, said)
            else:
                self.say(a[4:], t, said)
        if self.turn:
            (s, to, begin, end, clipped), start = self.turn
            share = min(max((t - begin) / (end - begin), 0), 1)
            self.at[s] = start + share * (to - start)
            if share >= 1:
                self.turn = None
                if clipped:
                    self.say("at-stop", t, said)
        if self.vary is not None and t >= self.vary:
            self.throttle, self.vary = r.uniform(0.2, 0.5), t + r.uniform(1, 2.5)
        if self.pull_from is not None:
            if runs:
                self.pull_from, self.pulling, self.throttle, self.nurse = None, False, 0.25, t + 2
                self.acts.append((t + 1, "say started"))
            elif t - self.pull_from > 20:
                self.pull_from, self.pulling = None, False
                self.say("cannot" if "cannot" in self.ask else "stalled", t, said)
        if self.nurse is not None and t > self.nurse:
            self.throttle, self.nurse = 0.0, None
        if self.ran and not runs and self.ignition:
            self.stalled = t + r.uniform(0.5, 1.5)
        self.ran = runs
        if runs:
            self.stalled = None
        if self.stalled and t > self.stalled:
            for word in ("stalled", "cannot"):
                if word in self.ask:
                    self.say(word, t, said)
                    self.stalled = None
                    break
        if self.looks and self.looks[0] != turns and t - self.looks[1] > 1:
            self.looks = (turns, t)
            if self.throttle < 0.05:
                self.say("attachment-turning" if turns else "attachment-still", t, said)
        return said


def profile(e):
    p = e.profile
    lines = ['name = "invented"', 'cycle = "two-stroke"', "cylinders = 1"]
    lines += [f'{key} = "{p[key]}"' for key in ("use", "carburetor", "coil")]
    lines += ["[speeds]", f"idle = [{e.idle_range[0]}, {e.idle_range[1]}]"]
    lines.append(f"full_throttle = [{50 * round(0.88 * e.maximum / 50)}, {e.maximum}]")
    if e.clutch_in:
        lines.append(f"clutch_in = {e.clutch_in}")
    if p["limiter"]:
        lines.append(f"limiter = {p['limiter']}")
    return "\n".join(lines) + "\n"


def run(program, number, trace, faults):
    r = np.random.default_rng(number)
    fault = FAULTS[number % len(FAULTS)] if faults else None
    e = Engine(r, fault)
    s, h = Sound(r, e), Hands(r, e.found, e.runs)
    with tempfile.TemporaryDirectory() as folder:
        open(f"{folder}/m.toml", "w").write(profile(e))
        fifo = f"{folder}/answers"
        os.mkfifo(fifo)
        answers = os.fdopen(os.open(fifo, os.O_RDWR), "w")
        command = [program, "tune", "--from", "-", "--events", "ndjson", "--raw", f"s16le:{RATE}:1"]
        command += ["--as-found", e.as_found, "--machine", f"{folder}/m.toml", "--answers", fifo]
        pipe, nothing = subprocess.PIPE, subprocess.DEVNULL
        child = subprocess.Popen(command, cwd=folder, stdin=pipe, stdout=pipe, stderr=nothing)
        lines = queue.Queue()
        threading.Thread(target=lambda: [lines.put(line) for line in child.stdout] and None or lines.put(None), daemon=True).start()
        t, readings, result, hops = 0.0, 0, None, 0
        ends = False
        while result is None:
            if not ends:
                ends = t >= LONGEST
                for line in h.tick(t, e.runs, e.bites is not None and e.rpm > e.bites):
                    answers.write(line + "\n")
                    answers.flush()
                    if trace:
                        print(f"{t:8.2f} says {line}")
                e.step(h.at, h.throttle, h.ignition, h.pulling)
                try:
                    child.stdin.write((s.hop() * 32_767).astype("<i2").tobytes())
                    child.stdin.flush()
                    if ends:
                        child.stdin.close()
                except BrokenPipeError:
                    pass  # it has given its result
                hops += 1
                t = hops * DT
            # No further than the sound's own clock allows, so that the same number gives the same run.
            while result is None and (ends or readings < hops - BEHIND):
                try:
                    line = lines.get(timeout=60)
                except queue.Empty:
                    line = None
                if line is None:
                    child.kill()
                    sys.exit(f"number {number}: the program ended or was silent for a minute, {t:.0f} s into the sound, without a result")
                o = json.loads(line)
                if o["event"] == "reading":
                    readings += 1
                    if trace and readings % 60 == 0:
                        true = f"({e.rpm:.0f}, skips {e.skips(e.mix_f):.2f}, mixture {e.mix_f:+.2f} {e.mix_i:+.2f}, throttle {e.throttle:.1f})"
                        print(f"{t:8.2f}   {o['rpm'] and round(o['rpm'])} {o['firing']} {o['skip_ratio']} {true}")
                elif o["event"] == "prompt":
                    if trace and o["id"] != h.id:
                        asked = [o[k] for k in ("throttle", "screw", "direction", "turns", "from", "ask")]
                        screws = {k: round(v, 3) for k, v in h.at.items()}
                        print(f"{t:8.2f} PROMPT {o['step']}: {o['say'][:150]} {asked} {screws} ideal {e.ideal(h.at['low'])}")
                    h.hear(o, t)
                elif o["event"] == "result":
                    result = o
                    if trace:
                        print(f"{t:8.2f} RESULT {line.decode().strip()}")
        try:
            child.stdin.close()
        except BrokenPipeError:
            pass
        child.wait()
    lean, rich = e.ideal(h.at["low"])
    high = h.at["high"]
    off = high - lean if high < lean else max(high - rich, 0.0)
    e.heat = 1.0
    mixture, _ = e.mixtures(h.at)
    idle = e.goal_idle(h.at, mixture)
    within = e.idle_range[0] <= idle <= e.idle_range[1]
    still = e.bites is None or idle <= e.bites
    right = result["verdict"] == "tuned" and abs(off) <= RIGHT and within and still
    named = [f["id"] for f in result.get("faults", [])][:3]
    if fault == "clutch" and e.bites is None:
        fault = None  # a blower has none
    if fault:
        right = result["verdict"] == "stopped" and fault in named
    return dict(
        number=number, fault=fault, right=right, verdict=result["verdict"], off=round(float(off), 3), idle=round(idle), idle_right=within, still=still,
        over=round(e.longest_over, 1), fastest=round(e.fastest / e.maximum, 3), minutes=round(t / 60, 1), moves=h.moves, faults=named,
        carburetor=e.profile["carburetor"], coil=e.profile["coil"], ceiling=bool(e.ceiling), known=bool(e.profile["limiter"]), found=e.as_found,
    )  # fmt: skip


if __name__ == "__main__":
    o = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    o.add_argument("program", help="engine-note, as built")
    o.add_argument("--first", type=int, default=1, help="number of the first engine")
    o.add_argument("--count", type=int, default=10, help="how many engines")
    o.add_argument("--jobs", type=int, default=os.cpu_count(), help="how many at a time")
    o.add_argument("--faults", action="store_true", help="engines with a planted fault")
    o.add_argument("--trace", action="store_true", help="every prompt and answer, and a reading a second")
    o = o.parse_args()
    if not os.access(o.program, os.X_OK):
        sys.exit(f"{o.program}: no program; build it with `cargo build --release`, it is target/release/engine-note then")
    program, numbers = os.path.abspath(o.program), range(o.first, o.first + o.count)
    if o.trace or o.jobs < 2:
        found = [run(program, n, o.trace, o.faults) for n in numbers]
        for f in found:
            print(f)
    else:
        from concurrent.futures import ProcessPoolExecutor
        with ProcessPoolExecutor(o.jobs) as pool:
            found = []
            for f in pool.map(run, [program] * len(numbers), numbers, [False] * len(numbers), [o.faults] * len(numbers)):
                found.append(f)
                print(f, flush=True)
    n = len(found)
    share = lambda what: f"{sum(map(what, found))} of {n}"
    print("right", share(lambda f: f["right"]))
    print("left leaner than a sixteenth", share(lambda f: f["verdict"] == "tuned" and f["off"] < -RIGHT))
    print("over the maximum", share(lambda f: f["over"] >= 0.3), "for at most", max(f["over"] for f in found), "s")
    print("stopped", share(lambda f: f["verdict"] == "stopped"))
    print("unfinished", share(lambda f: f["verdict"] not in ("tuned", "stopped")))
