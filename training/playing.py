"""What hands play, as keys, times, velocities and the pedal: performances with their timing changed, and jazz of random draws. No sound.

A `Played` holds notes [(midi, struck, let go, velocity)] in seconds, of which the scene hears 0 to SECONDS, and the spans of the pedal [(down, up)].
Chords are drawn from how often intervals stand over a bass (`OVER_THE_BASS` of scenes.py), so that no table of chords is needed and none is learned.
"""
import bisect, gzip, json, math
from collections import namedtuple

BEFORE = 5.0  # seconds played before the scene; its notes may ring into it
PEDAL_DOWN = 64  # of 0 to 127
FASTEST = 0.045  # seconds between two strikes of a key
Played = namedtuple('Played', 'notes pedal')


def damped(notes, pedal):
    """[(midi, struck, damper falls or struck again, velocity, True where it is struck again while it sounds)], in order of time."""
    ups = [up for _, up in pedal]
    out, last = [], {}
    for midi, struck, let_go, velocity in sorted(notes, key=lambda n: n[1]):
        if midi in last:
            i = last[midi]
            if struck - out[i][1] < FASTEST:
                continue
            if out[i][2] > struck:
                out[i] = out[i][:2] + (struck, out[i][3], True)
        falls = max(let_go, struck + 0.03)
        i = bisect.bisect_right(ups, falls)
        if i < len(pedal) and pedal[i][0] <= falls:
            falls = pedal[i][1]
        last[midi] = len(out)
        out.append((midi, struck, falls, velocity, False))
    return out


class Performances:
    """Arrangements as they were played: one JSON a line with notes [on, off, key, velocity, part] and pedal [time, value]."""

    def __init__(self, path):
        self.all = []
        with gzip.open(path, 'rt') as lines:
            for line in lines:
                piece = json.loads(line)
                notes = sorted(tuple(n) for n in piece['notes'])
                self.all.append((notes, [n[0] for n in notes], spans(piece['pedal'])))

    def draw(self, r, seconds):
        """A stretch of a performance, transposed, faster or slower, with or without its melody and its pedal, at human timing."""
        notes, onsets, pedal = r.choice(self.all)
        tempo = math.exp(r.gauss(0, 0.18))  # written seconds in one
        at = r.uniform(onsets[0] - 0.5, max(onsets[0], onsets[-1] - seconds))
        shift = r.choice((0, *range(-7, 8)))
        parts = 'P' + r.choice(('M', 'M', 'B', 'MB', 'MB', ''))
        unrest = r.uniform(0.0, 0.02)
        softer = r.uniform(-35, 10)
        first, last = (bisect.bisect_left(onsets, at + t * tempo) for t in (-BEFORE, seconds))
        moved = lambda t: (t - at) / tempo
        out = []
        for on, off, midi, velocity, part in notes[first:last]:
            if part in parts and 21 <= midi + shift <= 108:
                late = r.gauss(0, unrest)
                out.append((midi + shift, moved(on) + late, moved(off) + late, min(127, max(8, velocity + softer))))
        if r.random() < 0.25:
            return Played(out, [])
        return Played(out, [(moved(d), moved(u)) for d, u in pedal])


def spans(pedal):
    """Where the pedal is down, of [time, value]."""
    out, since = [], None
    for time, value in pedal:
        if value >= PEDAL_DOWN and since is None:
            since = time
        elif value < PEDAL_DOWN and since is not None:
            out.append((since, time))
            since = None
    if since is not None:
        out.append((since, since + 10.0))
    return out


class Jazz:
    """Two hands over a bass line of random chords: swung or even, with every texture of a jazz pianist's left and right hand."""

    LEFT = ('rest', 'stride', 'walking', 'walking tenths', 'bass and chord', 'shells', 'rolled', 'arpeggio', 'comping', 'repeated')
    RIGHT = ('rest', 'line', 'line', 'comping', 'block', 'locked hands', 'octaves', 'arpeggio', 'repeated', 'run', 'tremolo', 'ballad')
    PEDALLED = {'rolled': 0.8, 'arpeggio': 0.85, 'ballad': 0.85, 'bass and chord': 0.5, 'stride': 0.3, 'run': 0.5, 'tremolo': 0.6, 'repeated': 0.4}
    VOICES = 0.15  # share of scenes in which both hands play voices that move on their own, as in a fugue or a chorale
    ROOT_MOVES = (5, 5, 5, -7, -2, -1, 1, 2, 3, -3, -4, 6, 0)

    def __init__(self, r, seconds, over_the_bass):
        self.r, self.end, self.often = r, seconds, over_the_bass
        self.beat = math.exp(r.uniform(math.log(0.26), math.log(1.0)))
        self.swing = r.choice((0.5, r.uniform(0.52, 0.7)))
        self.unrest = r.uniform(0.003, 0.02)
        self.left, self.right = r.choice(self.LEFT), r.choice(self.RIGHT)
        if self.left == self.right == 'rest':
            self.right = 'line'
        if r.random() < self.VOICES:
            self.left = self.right = 'voices'
            around = {'left': r.sample((36, 43, 48, 53), r.choice((1, 2, 2))), 'right': r.sample((60, 64, 69, 74, 79), r.choice((1, 2, 2, 3)))}
            self.voices = {hand: [[about, about, -BEFORE] for about in keys] for hand, keys in around.items()}
        self.loud = {'left': r.gauss(62, 14), 'right': r.gauss(74, 14)}
        self.accent = r.uniform(2, 10)
        self.short = r.choice((r.uniform(0.25, 0.6), r.uniform(0.6, 1.05)))
        self.ornaments = r.choice((0.0, 0.05, 0.2))
        self.top = r.randint(62, 86)
        self.notes, self.pedal = [], []

    def strike(self, hand, midi, at, lasts, louder=0.0):
        if 21 <= midi <= 108:
            at += self.r.gauss(0, self.unrest)
            velocity = self.loud[hand] + louder + self.r.gauss(0, self.accent)
            self.notes.append((midi, at, at + max(0.04, lasts), min(127.0, max(8.0, velocity))))

    def chord(self, hand, keys, at, lasts, roll=0.0, louder=0.0):
        for i, midi in enumerate(sorted(keys)):
            self.strike(hand, midi, at + i * roll, lasts - i * roll, louder)

    def half_beats(self, start, beats):
        """Times of the eighths from `start`, swung."""
        return [start + self.beat * (i // 2 + (self.swing if i % 2 else 0)) for i in range(int(2 * beats))]

    def harmony(self):
        classes = [i for i in range(1, 12) if self.r.random() < self.often[i]]
        while len(classes) < 2:
            classes = sorted(set(classes) | {self.r.choice((3, 4, 7, 10))})
        return classes

    def near(self, pitch_class, about):
        return pitch_class + 12 * round((about - pitch_class) / 12)

    def voiced(self, root, classes, about, most):
        """Some tones of the chord, without its root mostly, close together around a key."""
        r = self.r
        chosen = r.sample(classes, min(len(classes), r.randint(2, most)))
        if r.random() < 0.2:
            chosen.append(0)
        return {self.near(root + c, about + r.gauss(0, 3)) for c in chosen}

    def draw(self):
        r, at = self.r, -BEFORE + self.r.uniform(0, 1)
        root, share = r.randint(24, 35), r.uniform(0.4, 1.0)
        most = max(self.PEDALLED.get(self.left, 0.15), self.PEDALLED.get(self.right, 0.15))
        pedalled = r.random() < most
        late = r.uniform(0.02, 0.25)
        while at < self.end:
            beats = r.choice((1, 2, 2, 4, 4))
            root = 24 + (root - 24 + r.choice(self.ROOT_MOVES)) % 14
            classes = self.harmony()
            getattr(self, 'play_' + self.left.replace(' ', '_'))('left', root, classes, at, beats)
            getattr(self, 'play_' + self.right.replace(' ', '_'))('right', root, classes, at, beats)
            length = beats * self.beat
            if pedalled and r.random() < 0.95:
                pieces = r.choice((1, 1, 1, 2)) if length > 0.8 else 1
                for i in range(pieces):
                    down = at + i * length / pieces + min(late, 0.4 * length / pieces) * r.uniform(0.5, 1.2)
                    up = at + (i + 1) * length / pieces + r.gauss(0.0, 0.03)
                    if r.random() > share:
                        up -= r.uniform(0.0, 0.4) * length / pieces
                    if up > down + 0.05:
                        self.pedal.append((down, up))
            at += length
        return Played(self.notes, self.pedal)

    def play_rest(self, *_):
        pass

    def play_stride(self, hand, root, classes, at, beats):
        for i in range(beats):
            t = at + i * self.beat
            if i % 2 == 0:
                bass = self.near(root + self.r.choice((0, 0, 7)), 38)
                self.strike(hand, bass, t, self.beat * self.short, 4)
                if self.r.random() < 0.25:
                    self.strike(hand, bass + self.r.choice((12, 7, 16, 15)), t, self.beat * self.short)
            else:
                self.chord(hand, self.voiced(root, classes, 55, 4), t, self.beat * self.short)

    def play_bass_and_chord(self, hand, root, classes, at, beats):
        self.strike(hand, self.near(root, 38), at, beats * self.beat * self.r.uniform(0.4, 1.0), 4)
        for t in self.half_beats(at, beats)[1:]:
            if self.r.random() < 0.35:
                self.chord(hand, self.voiced(root, classes, 55, 3), t, self.beat * self.short)

    def play_walking(self, hand, root, classes, at, beats, tenths=0.0):
        key = self.near(root, 40)
        for i in range(beats):
            t = at + i * self.beat
            self.strike(hand, key, t, self.beat * self.r.uniform(0.75, 1.02))
            if self.r.random() < tenths:
                self.strike(hand, key + self.r.choice((15, 16)), t + self.r.choice((0.0, self.r.uniform(0, 0.08))), self.beat * 0.9)
            if self.r.random() < 0.12:
                self.strike(hand, key, t + self.beat * self.swing, self.beat * 0.3, -8)
            key = min(55, max(28, key + self.r.choice((-5, -4, -3, -2, -1, 1, 2, 3, 4, 5))))

    def play_walking_tenths(self, *given):
        self.play_walking(*given, tenths=0.8)

    def play_shells(self, hand, root, classes, at, beats):
        keys = {self.near(root, 42)} | {self.near(root + c, 52) for c in self.r.sample(classes, min(2, len(classes)))}
        self.chord(hand, keys, at, beats * self.beat * self.r.uniform(0.5, 1.0))

    def play_rolled(self, hand, root, classes, at, beats):
        keys = {self.near(root, 38)} | self.voiced(root, classes, 55, 4)
        self.chord(hand, keys, at, beats * self.beat * self.r.uniform(0.7, 1.0), self.r.uniform(0.015, 0.12))

    def play_arpeggio(self, hand, root, classes, at, beats):
        about = 48 if hand == 'left' else 72
        keys = sorted({self.near(root, about - 10)} | {self.near(root + c, about + self.r.gauss(0, 9)) for c in classes for _ in range(2)})
        if self.r.random() < 0.3:
            keys.reverse()
        pace = self.beat / self.r.choice((2, 3, 4))
        for i in range(min(40, int(beats * self.beat / pace))):
            self.strike(hand, keys[i % len(keys)], at + i * pace, pace * self.r.uniform(0.7, 2.5))

    def play_comping(self, hand, root, classes, at, beats):
        keys = self.voiced(root, classes, 54 if hand == 'left' else 63, 4)
        roll = 0.0 if self.r.random() < 0.8 else self.r.uniform(0.01, 0.03)
        for t in self.half_beats(at, beats):
            if self.r.random() < 0.35:
                self.chord(hand, keys, t, self.beat * self.r.choice((self.short * 0.4, self.short, 1.5)), roll)
                if self.r.random() < 0.4:
                    keys = self.voiced(root, classes, 54 if hand == 'left' else 63, 4)

    def play_repeated(self, hand, root, classes, at, beats):
        keys = self.voiced(root, classes, 52 if hand == 'left' else 66, 4) or {root + 36}
        pace = max(0.11, self.beat / self.r.choice((1, 2, 2, 3, 4)))
        for i in range(int(beats * self.beat / pace)):
            self.chord(hand, keys, at + i * pace, pace * self.r.uniform(0.4, 1.0))

    def next_top(self, root, classes):
        step = self.r.choice((-5, -4, -3, -2, -2, -1, -1, 0, 1, 1, 2, 2, 3, 4, 5))
        if self.r.random() < 0.5:
            self.top = self.near(root + self.r.choice([0] + classes), self.top + step)
        else:
            self.top += step
        self.top = min(98, max(58, self.top))
        return self.top

    def melody(self, root, classes, at, beats, density):
        """(key, time, length) of a line, with grace notes and crushed ones struck on the way."""
        r, out = self.r, []
        times = self.half_beats(at, beats) + [at + beats * self.beat]
        if r.random() < 0.15:
            times = sorted(times + [t + self.beat / 4 for t in times[:-1]])
        i = 0
        while i < len(times) - 1:
            if r.random() < density:
                j = min(len(times) - 1, i + r.choice((1, 1, 1, 2, 2, 4)))
                key = self.next_top(root, classes)
                out.append((key, times[i], (times[j] - times[i]) * (self.short if r.random() < 0.3 else r.uniform(0.8, 1.05))))
                if r.random() < self.ornaments:
                    ahead = r.choice((0.0, r.uniform(0.03, 0.1)))
                    self.strike('right', key + r.choice((-2, -1, 1, 2)), times[i] - ahead, max(0.05, ahead * r.uniform(0.8, 1.4)), -6)
                i = j
            else:
                i += 1
        return out

    def play_line(self, hand, root, classes, at, beats):
        for key, t, lasts in self.melody(root, classes, at, beats, 0.75):
            self.strike(hand, key, t, lasts, 3)

    def play_voices(self, hand, root, classes, at, beats):
        """Voices of one to three a hand, each with lengths and rests of its own, mostly by step, held until its next note."""
        r, end = self.r, at + beats * self.beat
        for voice in self.voices[hand]:
            while voice[2] < end:
                about, key, since = voice
                lasts = self.beat * r.choice((0.25, 0.5, 0.5, 0.5, 1, 1, 1, 2, 2, 4))
                key += r.choice((-5, -3, -2, -2, -2, -1, -1, 0, 1, 1, 2, 2, 2, 3, 4, 5, 7))
                if abs(key - about) > 9:
                    key = about
                if r.random() < 0.4:
                    key = self.near(root + r.choice([0] + classes), key)
                voice[1], voice[2] = key, since + lasts
                if since > at - self.beat and r.random() < 0.9:
                    self.strike(hand, key, since, lasts * r.uniform(0.85, 1.03))

    def play_ballad(self, hand, root, classes, at, beats):
        for key, t, lasts in self.melody(root, classes, at, beats, 0.35):
            self.strike(hand, key, t, lasts * 1.5, 6)
        self.chord(hand, self.voiced(root, classes, 60, 4), at + self.r.choice((0, 1)) * self.beat, beats * self.beat, self.r.choice((0.0, 0.03)), -6)

    def play_octaves(self, hand, root, classes, at, beats):
        for key, t, lasts in self.melody(root, classes, at, beats, 0.55):
            self.chord(hand, {key, key - 12}, t, lasts)

    def play_block(self, hand, root, classes, at, beats, doubled=False):
        for key, t, lasts in self.melody(root, classes, at, beats, 0.55):
            inner = {key - (key - root - c) % 12 for c in self.r.sample(classes, min(len(classes), self.r.randint(1, 3)))}
            self.chord(hand, {key} | inner | ({key - 12} if doubled else set()), t, lasts)

    def play_locked_hands(self, *given):
        self.play_block(*given, doubled=True)

    def play_run(self, hand, root, classes, at, beats):
        if self.r.random() < 0.6:
            pace, key, way = self.r.uniform(0.055, 0.16), self.r.randint(52, 80), self.r.choice((-1, 1))
            for i in range(int(beats * self.beat / pace)):
                self.strike(hand, key, at + i * pace, pace * self.r.uniform(0.8, 1.3))
                key += way * self.r.choice((1, 1, 2, 2, 3))
                if not 45 < key < 100 or self.r.random() < 0.06:
                    way = -way
        else:
            self.play_line(hand, root, classes, at, beats)

    def play_tremolo(self, hand, root, classes, at, beats):
        keys = sorted(self.voiced(root, classes, 66, 4) | {self.near(root, 66)})
        pace = self.r.uniform(0.06, 0.11)
        for i in range(int(beats * self.beat / pace)):
            self.chord(hand, keys[:1] if i % 2 else keys[1:], at + i * pace, pace * 0.9)
