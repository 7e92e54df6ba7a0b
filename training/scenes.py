"""Random scenes: who strikes which key when, for how long, on which piano. Pure random draws, no sound.

A scene is a list of strikes; voicings are drawn from how often intervals are played, over a bass and side by side, so that no table of chords is needed
and none is learned.
"""
import math, random
from collections import namedtuple
import numpy as np
from front_end import RATE
from playing import FASTEST, Jazz, Performances, damped
from sounds import LEAD, STEP

SECONDS = 3.0
HELD_UNTIL = 1.9  # seconds, in test scenes of held voicings
# half steps between neighbouring notes of a hand, with their weights
INTERVALS = ((1, 8), (2, 13), (3, 22), (4, 20), (5, 15), (6, 9), (7, 7), (8, 3), (9, 3), (10, 2), (11, 2), (12, 3))
STEPS, WEIGHTS = zip(*INTERVALS)
# how often a played chord has the key so many half steps, and any octaves, above its bass: from the minor ninth to the major seventh
OVER_THE_BASS = (0.15, 0.10, 0.30, 0.35, 0.50, 0.20, 0.15, 0.50, 0.15, 0.25, 0.45, 0.25)
AMONG_PARTIALS = (12, 12, 12, -12, 24, 19, 19, 28, 31)  # where a key hides among the partials of another
HIDDEN = 0.3  # share of voicings to which such a key is added
MELODY_IN_OCTAVES = 0.25  # share of those over a bass whose top is doubled an octave above
FARTHEST_BORROWED = 9  # half steps that a borrowed key may have been recorded away
BY_THE_GENERATOR = 0.5  # share of scenes of playing that are jazz of random draws; the others are performances
FIELDS = ('clip', 'source', 'length', 'increment', 'begin', 'gain', 'off', 'release', 'midi', 'onset', 'label', 'until', 'velocity')
Strike = namedtuple('Strike', 'midi onset off until loudness velocity')  # seconds until the sound is damped, until the note counts as sounding; dB; 1 to 127 or none


def over_a_bass(r):
    """A bass and what stands over it, each key in the octave where the hands are."""
    bass = min(60, max(26, int(r.gauss(44, 5))))
    middle = r.gauss(62, 4)
    keys = {bass}
    for half_steps, often in enumerate(OVER_THE_BASS):
        if r.random() < often and len(keys) < 8:
            octave = round((r.gauss(middle, 5) - bass - half_steps) / 12)
            keys.add(bass + half_steps + 12 * max(octave, 1 if half_steps == 0 else 0))
    if len(keys) > 1 and r.random() < MELODY_IN_OCTAVES:
        keys.add(max(keys) + 12)
    return keys


def voicing(r):
    """One to ten keys, low to high."""
    if r.random() < 0.6:
        keys = over_a_bass(r)
        if r.random() < HIDDEN:
            keys.add(r.choice(sorted(keys)) + r.choice(AMONG_PARTIALS))
        return sorted(k for k in keys if 21 <= k <= 108)
    kind = r.random()
    if kind < 0.10:  # anything at once
        return sorted(r.sample(range(r.choice((24, 36, 48)), r.choice((72, 84, 97))), r.randint(1, 9)))
    if kind < 0.16:  # close cluster
        low = r.randint(36, 80)
        return sorted(r.sample(range(low, low + 9), r.randint(2, 6)))
    if kind < 0.20:  # extremes of the keyboard
        return sorted(r.sample(range(21, 109), r.randint(1, 4)))
    n = r.choices(range(1, 9), (6, 6, 16, 28, 20, 12, 8, 4))[0]
    keys = [min(96, max(24, int(r.gauss(53, 9))))]
    if r.random() < 0.35 and n > 2:  # left hand far below
        keys = [min(60, max(22, int(r.gauss(42, 6))))]
        if r.random() < 0.3:
            keys.append(keys[0] + r.choice((7, 10, 12, 4, 3, 11)))
        keys.append(max(keys[-1] + 1, int(r.gauss(59, 5))))
    while len(keys) < n:
        keys.append(keys[-1] + r.choices(STEPS, WEIGHTS)[0])
    if r.random() < HIDDEN:
        keys.append(r.choice(keys) + r.choice(AMONG_PARTIALS))
    return sorted({k for k in keys if 21 <= k <= 108})


class SceneMaker:
    """Draws batches of scenes for the pianos given by their index in the bank's table."""

    def __init__(self, table, weights, seed, borrowed=0.0, playing=0.0, performances=None):
        """`borrowed`: share of scenes of which each key comes from a piano of its own, from farther away, so that no piano is learned by heart.
        `playing`: share of scenes in which hands play on, with the pedal; `performances`: a file of such, beside those of random draws."""
        self.r = random.Random(seed)
        self.playing = playing
        self.performances = Performances(performances) if performances and playing else None
        self.pianos, self.weights = list(weights), list(weights.values())
        self.borrowed = borrowed
        self.near, self.far = {}, {}
        for p in self.pianos:
            rows = table[table[:, 0] == p]
            for midi in range(21, 109):
                self.near[p, midi] = self.recordings(rows, midi, 3, 1.2)
                if borrowed:
                    self.far[p, midi] = self.recordings(rows, midi, FARTHEST_BORROWED, 4.0)

    @staticmethod
    def recordings(rows, midi, reach, fading):
        """The recordings that can stand for a key, and sums of their weights up to each; those farther away than `fading` half steps are rarer."""
        away = np.abs(rows[:, 1] - midi)
        chosen = rows[away <= max(reach, away.min())]
        weight = np.exp(-np.abs(chosen[:, 1] - midi) / fading)
        return chosen, list(np.cumsum(weight))

    def strikes(self):
        """A list of (midi, onset, off, loudness in dB)."""
        r, out = self.r, []
        kind = r.random()
        spread = r.choice((0.5, 1.5, 2.5, 4.0))
        loud = lambda extra=0.0: max(-10.0, min(9.0, r.gauss(extra, spread)))

        def chord(keys, at, off, roll):
            order = list(keys) if r.random() < 0.8 else list(reversed(keys))
            for i, k in enumerate(order):
                start = at + i * roll + r.uniform(0, 0.012)
                out.append((k, start, max(start + 0.12, off + r.uniform(-0.03, 0.01)), loud(3.0 if k == max(keys) and r.random() < 0.4 else 0.0)))

        def roll():
            return 0.0 if r.random() < 0.7 else r.uniform(0.01, 0.12)

        if kind < 0.40:  # a held chord, perhaps after another
            at = r.uniform(-0.6, 0.9)
            if r.random() < 0.5:
                chord(voicing(r), at - r.uniform(0.4, 2.0), at + r.choice((r.uniform(-0.6, 0.0), r.uniform(0.0, 0.4))), roll())
            hold = r.uniform(0.3, 4.0)
            keys = voicing(r)
            chord(keys, at, at + hold, roll())
            if hold < 1.8 and r.random() < 0.6:
                chord(keys if r.random() < 0.3 else voicing(r), at + hold + r.uniform(0.0, 0.5), 9.0, roll())
            if r.random() < 0.25:  # one key struck again while the rest is held
                k, again = r.choice(keys), at + r.uniform(0.2, 1.5)
                for i, s in enumerate(out):
                    if s[0] == k and s[1] < again < s[2]:
                        out[i] = (k, s[1], again - 0.02, s[3])
                out.append((k, again, at + hold, loud(2.0)))
        elif kind < 0.85:  # a progression with a line above
            at = r.uniform(-1.5, 0.2)
            beat = r.uniform(0.25, 0.9)
            pedal = r.random() < 0.4
            line = r.random() < 0.7
            top = r.randint(64, 84)
            keys = voicing(r)
            while at < SECONDS:
                length = beat * r.choice((1, 1, 2, 2, 4))
                late = r.uniform(0.02, 0.35) if pedal else r.uniform(-0.12, 0.03)
                chord(keys, at, at + length + late, roll())
                t = at + (0 if r.random() < 0.5 else beat / 2)
                while line and t < at + length:
                    top = min(96, max(58, top + r.choice((-4, -3, -2, -1, 1, 2, 3, 4, 5, -5))))
                    d = beat * r.choice((0.5, 0.5, 1, 1, 2))
                    if r.random() < 0.85:
                        out.append((top, t, (at + length + late) if pedal and r.random() < 0.7 else t + d * r.uniform(0.5, 1.05), loud(r.uniform(0, 5))))
                    t += d
                at += length
                if r.random() < 0.85:  # the next chord keeps some keys
                    kept = [k for k in keys if r.random() < 0.25]
                    keys = sorted(set(kept + [min(100, max(24, k + r.choice((-3, -2, -1, 1, 2, 3)))) for k in keys if k not in kept]))
                    if r.random() < 0.4:
                        keys = voicing(r)
        else:  # free playing
            at = r.uniform(-1.2, 0.2)
            pedal = r.random() < 0.3
            pace = r.uniform(0.06, 0.4)
            centre = r.gauss(62, 9)
            while at < SECONDS:
                k = min(108, max(21, int(r.gauss(centre, r.choice((4, 9, 16))))))
                out.append((k, at, at + (r.uniform(0.5, 3.0) if pedal else pace * r.uniform(0.6, 3.0)), loud()))
                at += pace * r.choice((0, 0.5, 1, 1, 2))+ r.uniform(0.005, 0.03)
        return out

    def played(self):
        """Strikes of a stretch of playing, and where the pedal is down."""
        r = self.r
        if self.performances is None or r.random() < BY_THE_GENERATOR:
            played = Jazz(r, SECONDS, OVER_THE_BASS).draw()
        else:
            played = self.performances.draw(r, SECONDS)
        decibels = r.uniform(1.2, 3.2)  # that ten steps of velocity bring
        rings_on = r.random() < 0.5  # a string struck again keeps what it had, or gives it up
        out = []
        for midi, onset, until, velocity, again in damped(*played):
            off = until
            if again and rings_on:
                off = until + r.uniform(0.1, 1.5)
            out.append(Strike(midi, onset, off, until, max(-24.0, min(12.0, (velocity - 78) / 10 * decibels)), velocity))
        return out, played.pedal

    def scene(self, clip, rows, pedals):
        r = self.r
        if r.random() < 0.06:
            return
        if r.random() < self.playing:
            strikes, pedal = self.played()
            pedals.append((clip, 0.0, 0.0))  # here the pedal is known, even where it stays up
            pedals += [(clip, down, up) for down, up in pedal if up > 0 and down < SECONDS]
        else:
            strikes = [Strike(midi, onset, off, off, loudness, None) for midi, onset, off, loudness in self.strikes()]
        piano = r.choices(self.pianos, self.weights)[0]
        spread = r.choices((0, 1, 2), (70, 20, 10))[0]
        overall = r.gauss(0, (6, 14, 26)[spread])
        stretch = r.uniform(-0.5, 1.0)
        unrest = r.uniform(0, 4)
        layer = r.random()
        ring = r.uniform(0.02, 0.09)
        takes, piano_of = self.near, dict.fromkeys(range(21, 109), piano)
        if self.borrowed and r.random() < self.borrowed:
            takes, piano_of = self.far, dict(zip(range(21, 109), r.choices(self.pianos, self.weights, k=88)))
        last = {}
        for midi, onset, off, until, loudness, velocity in sorted(strikes, key=lambda s: s.onset):
            if midi in last and onset - last[midi] < (0.07 if velocity is None else FASTEST):
                continue
            last[midi] = onset
            if onset > SECONDS or off < -0.2:
                continue
            rows_of_key, cumulative = takes[piano_of[midi], midi]
            rec = rows_of_key[r.choices(range(len(rows_of_key)), cum_weights=cumulative)[0]]
            if r.random() < 0.6:  # the same dynamic layer for most notes of a scene
                same = rows_of_key[rows_of_key[:, 1] == rec[1]]
                chosen = layer if velocity is None else min(0.999, max(0.0, velocity / 128 + r.gauss(0, 0.1)))
                rec = same[min(len(same) - 1, int(chosen * len(same)))]
            bend = lambda: overall + stretch * ((midi - 60) / 12) ** 3 * 0.6 + r.gauss(0, unrest)
            copies = [(bend(), 0.0, 1)]
            odd = r.random()
            if odd < 0.04:
                copies.append((copies[0][0] + r.choice((-1, 1)) * r.uniform(1, 9), r.uniform(-6, 0), 0))
            elif odd < 0.05:
                copies.append((copies[0][0] + r.choice((-1, 1)) * r.uniform(9, 28), r.uniform(-14, -5), 0))
            for cents, less, label in copies:
                ratio = 2 ** ((midi - rec[1]) / 12 + cents / 1200)
                release = ring * 2 ** ((60 - midi) / 30) * RATE
                if midi >= 91:
                    release = r.uniform(0.05, 1.2) * RATE
                rows.append((clip, rec[3], rec[4], ratio * STEP, (onset - LEAD / ratio) * RATE, 10 ** ((loudness + less) / 20), off * RATE, release,
                             midi, onset, label, until, velocity or 0))

    def batch(self, clips):
        """Strikes of `clips` scenes as one array [strikes, FIELDS], and where the pedal is down, [spans, (clip, down, up)];
        of a clip without any span nothing is known."""
        rows, pedals = [], []
        for c in range(clips):
            self.scene(c, rows, pedals)
        return np.array(rows, dtype=np.float64).reshape(-1, len(FIELDS)), np.array(pedals, dtype=np.float64).reshape(-1, 3)


def held(table, piano, count, seed, chordlike=True):
    """Test scenes: one voicing each, struck at 0.5 s and held; as (array, list of key sets)."""
    maker = SceneMaker(table, {piano: 1.0}, seed)
    r, rows, sets = maker.r, [], []
    for clip in range(count):
        keys = []
        while not 2 < len(keys) < 10 or keys[-1] > 96 or keys[0] < 26:
            keys = voicing(r)
        shift = r.gauss(0, 5)
        sets.append(set(keys))
        for midi in keys:
            near, cumulative = maker.near[piano, midi]
            rec = near[r.choices(range(len(near)), cum_weights=cumulative)[0]]
            ratio = 2 ** ((midi - rec[1]) / 12 + (shift + r.gauss(0, 1.5)) / 1200)
            onset = 0.5 + r.uniform(0, 0.01)
            rows.append((clip, rec[3], rec[4], ratio * STEP, (onset - LEAD / ratio) * RATE, 10 ** (r.gauss(0, 2.5) / 20), HELD_UNTIL * RATE, 0.05 * RATE, midi, onset, 1, HELD_UNTIL, 0))
    return np.array(rows, dtype=np.float64), sets
