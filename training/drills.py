"""Rendered drills for setting the bounds of marking on: recorded notes of real pianos mixed into attempts of which everything is known.

  python3 training/drills.py --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --into DIR [--count 4] [--seed 1] [--harsh]

Writes DIR/audio/*.flac and DIR/truth.json: for each piano COUNT drills clean, in a room, and over a phone; each goes through twelve keys with slips of every kind (a key left
out, one too many, a neighbour, an octave, another inversion, another top note, another root), hesitations, corrections (a key added, a key changed, all played again),
rolled chords, single keys tried between, sound that hangs over from the chord before, hiss, and talk in a third of them. With --harsh
instead, COUNT drills for each piano over a phone with talk all the way through, as loud as the piano at most, and much noise. drill_bounds.py reads what `lidprop drill --from` makes of them.
"""
import argparse, csv, json, os
import numpy as np
import soundfile

RATE = 22050
FOURTHS = [0, 5, 10, 3, 8, 1, 6, 11, 4, 9, 2, 7]
NAMES = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'Ab', 'A', 'Bb', 'B']
# what is asked for, in which form, half steps of its keys above the root
MATERIAL = [
    ('dim(maj7)', 'root position', [0, 3, 6, 11]), ('maj7', 'root position', [0, 4, 7, 11]), ('7', 'root position', [0, 4, 7, 10]), ('m7', 'root position', [0, 3, 7, 10]),
    ('m7b5', 'root position', [0, 3, 6, 10]), ('dim7', 'root position', [0, 3, 6, 9]), ('m(maj7)', 'root position', [0, 3, 7, 11]), ('maj', 'root position', [0, 4, 7]),
    ('m', 'first inversion', [3, 7, 12]), ('7', 'third inversion', [-2, 0, 4, 7]), ('maj7', 'drop 2', [-5, 0, 4, 11]), ('m7', 'rootless A', [3, 7, 10, 14]),
    ('13', 'rootless B', [-2, 2, 4, 9]), ('maj7', 'rootless A', [4, 7, 11, 14]), ('7', 'shell', [0, 4, 10]), ('7#5#9', 'root position', [0, 4, 8, 10, 15]),
]
SLIPS = ['missing', 'extra', 'neighbour', 'octave', 'inversion', 'top note', 'other root']


def read_mono(path, rate):
    x, r = soundfile.read(path, dtype='float32', always_2d=True)
    x = x.mean(1)
    if r != rate:
        n = int(round(len(x) * rate / r))
        spectrum = np.fft.rfft(x)
        out = np.zeros(n // 2 + 1, complex)
        keep = min(len(spectrum), len(out))
        out[:keep] = spectrum[:keep]
        x = (np.fft.irfft(out, n) * n / len(x)).astype('float32')
    return x


class Piano:
    """Recorded notes; a key without one is its nearest neighbour played faster or slower."""

    def __init__(self, folder):
        self.notes = []
        for row in csv.DictReader(open(os.path.join(folder, 'map.tsv')), delimiter='\t'):
            self.notes.append((int(row['midi']), float(row['velocity']), os.path.join(folder, row['file'])))
        self.kept = {}

    def sound(self, midi, velocity, seconds, release):
        near = min(self.notes, key=lambda n: (abs(n[0] - midi), abs(n[1] - velocity)))
        if near[2] not in self.kept:
            x = read_mono(near[2], RATE)
            self.kept[near[2]] = x / max(1e-6, np.sqrt((x[:RATE // 2] ** 2).mean())) * 0.05
        x = self.kept[near[2]]
        n = int((seconds + 5 * release) * RATE)
        t = np.arange(n) * 2 ** ((midi - near[0]) / 12)
        t = t[t < len(x) - 1]
        y = np.interp(t, np.arange(len(x)), x) * (velocity / 64) ** 1.3
        end = int(seconds * RATE)
        y[end:] *= np.exp(-np.arange(max(0, len(y) - end)) / (release * RATE))
        return y.astype('float32')


def slip(g, kind, keys, root, voices):
    """The keys that are played instead."""
    keys = list(keys)
    if kind == 'missing':
        keys.pop(g.integers(len(keys)))
    elif kind == 'extra':
        near = [k + d for k in keys for d in (-2, -1, 1, 2) if k + d not in keys]
        keys.append(int(g.choice(near)))
    elif kind in ('neighbour', 'top note'):
        at = len(keys) - 1 if kind == 'top note' else int(g.integers(len(keys) - 1))
        keys[at] += int(g.choice([d for d in (-2, -1, 1, 2) if keys[at] + d not in keys]))
    elif kind == 'octave':
        at = int(g.integers(len(keys)))
        up = 12 if at >= len(keys) // 2 else -12
        keys[at] += up if keys[at] + up not in keys else 2 * up
    elif kind == 'inversion':
        keys[0] += 12
    else:
        keys = [k + int(g.choice([-2, -1, 1, 2])) for k in keys[:1]] + keys[1:]
        by = keys[0] - min(voices)
        keys = [k + by for k in voices]
    return sorted(set(keys))


def drill(g, piano, n):
    """Strikes and the truth of one drill."""
    what, form, above = MATERIAL[n % len(MATERIAL)]
    order = ['fourths', 'half steps'][n % 2]
    start = int(g.integers(12))
    roots = [(start + (FOURTHS[i] if order == 'fourths' else i)) % 12 for i in range(12)]
    slips = {int(i): str(g.choice(SLIPS)) for i in g.choice(12, int(g.integers(3, 6)), replace=False)}
    at, strikes, attempts = 0.8, [], []

    def strike(keys, at, until, rolled=0.0):
        order = sorted(keys)
        for i, key in enumerate(order):
            late = g.uniform(0, 0.012) + rolled * i / max(1, len(order) - 1)
            strikes.append((key, at + late, until, int(np.clip(g.normal(58, 8), 35, 90))))

    for i, root in enumerate(roots):
        low = 48 + root if g.random() < 0.7 or root > 7 else 60 + root
        wanted = [low + up for up in above]
        keys, kind, corrected = list(wanted), None, None
        if i in slips:
            kind = slips[i]
            keys = slip(g, kind, wanted, root, wanted)
            corrected = str(g.choice(['added', 'changed', 'again'])) if g.random() < 0.25 else None
            if corrected == 'added' and kind != 'missing' or corrected == 'changed' and kind not in ('neighbour', 'top note'):
                corrected = 'again'
        if i and g.random() < 0.12:
            at += g.uniform(2.5, 4.5)
        if g.random() < 0.08:
            tried = int(g.choice(wanted))
            strikes.append((tried, at, at + 0.3, 45))
            at += g.uniform(0.7, 1.0)
        held = g.uniform(1.1, 2.4)
        rolled = g.uniform(0.06, 0.22) if g.random() < 0.12 else 0.0
        record = {'target': f'{NAMES[root]} {what}', 'target_midi': wanted, 'played_midi': keys, 'slip': kind, 'corrected': corrected, 'rolled': rolled > 0}
        if corrected == 'again':
            strike(keys, at, at + 0.7, rolled)
            attempts.append({**record, 'start': at, 'end': at + 0.7, 'right': False})
            at += g.uniform(0.9, 1.3)
            keys = wanted
            record = {**record, 'played_midi': keys, 'slip': None}
        elif corrected:
            mends = at + g.uniform(0.8, 1.3)
            gone = [k for k in keys if k not in wanted]
            strike([k for k in keys if k in wanted], at, mends + held, rolled)
            strike(gone, at, mends - 0.05)
            strike([k for k in wanted if k not in keys], mends, mends + held)
            attempts.append({**record, 'start': at, 'end': mends + held, 'right': True})
            at = mends + held + g.uniform(0.25, 0.8)
            continue
        hangs = g.uniform(0.0, 0.25) if g.random() < 0.15 else 0.0
        strike(keys, at, at + held + hangs, rolled)
        attempts.append({**record, 'start': at, 'end': at + held, 'right': keys == wanted})
        at += held + (g.uniform(0.0, 0.1) if hangs else g.uniform(0.2, 0.8))
    sound = np.zeros(int((at + 1.5) * RATE), 'float32')
    release = g.uniform(0.03, 0.09)
    for key, t, until, velocity in strikes:
        y = piano.sound(key, velocity, until - t, release)
        first = int(t * RATE)
        y = y[:max(0, len(sound) - first)]
        sound[first:first + len(y)] += y
    for a in attempts:
        a['missing'] = [k for k in a['target_midi'] if k not in a['played_midi']]
        a['extra'] = [k for k in a['played_midi'] if k not in a['target_midi']]
    return sound, {'play': what, 'form': form, 'order': order, 'first': NAMES[start], 'attempts': attempts}


def degraded(g, x, condition, rooms, voices):
    level = np.sqrt((x ** 2).mean())
    if condition == 'room':
        room = rooms[g.integers(len(rooms))]
        n = len(x) + len(room)
        wet = np.fft.irfft(np.fft.rfft(x, n) * np.fft.rfft(room, n), n)[:len(x)]
        share = g.uniform(0.3, 0.9)
        x = (1 - share) * x + share * wet / max(1e-9, np.sqrt((wet ** 2).mean())) * level
    if condition in ('phone', 'harsh'):
        spectrum = np.fft.rfft(x)
        f = np.fft.rfftfreq(len(x), 1 / RATE)
        low, high, order = g.uniform(180, 400), g.uniform(3000, 4200), g.integers(2, 6)
        x = np.fft.irfft(spectrum / np.sqrt((1 + (low / np.maximum(f, 1)) ** (2 * order)) * (1 + (f / high) ** (2 * order))), len(x))
        x = np.tanh(x / level * g.uniform(0.1, 0.4)) * level
        level = np.sqrt((x ** 2).mean())
    if condition == 'harsh':
        talk = np.resize(np.concatenate([voices[i] for i in g.permutation(len(voices))]), len(x))
        x = x + talk / max(1e-9, np.sqrt((talk ** 2).mean())) * level * 10 ** (-g.uniform(0, 8) / 20)
        x = x + g.normal(0, 1, len(x)) * level * 10 ** (-g.uniform(14, 30) / 20)
    elif g.random() < 1 / 3:
        voice = voices[g.integers(len(voices))]
        length = min(len(voice), len(x), int(g.uniform(3, 9) * RATE))
        start, place = g.integers(len(voice) - length + 1), g.integers(len(x) - length + 1)
        talk = voice[start:start + length]
        x[place:place + length] += talk / max(1e-9, np.sqrt((talk ** 2).mean())) * level * 10 ** (-g.uniform(8, 22) / 20)
    x = x + g.normal(0, 1, len(x)) * level * 10 ** (-g.uniform(32, 60) / 20)
    return (x / np.abs(x).max() * 10 ** (-g.uniform(3, 20) / 20)).astype('float32')


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ('--pianos', '--rooms', '--voices', '--into'):
        a.add_argument(name, required=True)
    a.add_argument('--count', type=int, default=4)
    a.add_argument('--seed', type=int, default=1)
    a.add_argument('--harsh', action='store_true')
    o = a.parse_args()
    g = np.random.default_rng(o.seed)
    os.makedirs(os.path.join(o.into, 'audio'), exist_ok=True)
    listed = lambda folder, ends: [read_mono(os.path.join(folder, f), RATE) for f in sorted(os.listdir(folder)) if f.endswith(ends)]
    rooms, voices = listed(o.rooms, '.wav'), listed(o.voices, '.flac')
    clips = []
    for name in sorted(os.listdir(o.pianos)):
        if not os.path.isdir(os.path.join(o.pianos, name)):
            continue
        piano = Piano(os.path.join(o.pianos, name))
        for condition in ('harsh',) if o.harsh else ('clean', 'room', 'phone'):
            for _ in range(o.count):
                sound, truth = drill(g, piano, len(clips))
                file = f'audio/drill-{len(clips):03}.flac'
                soundfile.write(os.path.join(o.into, file), degraded(g, sound, condition, rooms, voices), RATE, subtype='PCM_16')
                clips.append({'file': file, 'kind': 'drill', 'piano': name, 'condition': condition, 'seconds': len(sound) / RATE, **truth})
    json.dump({'clips': clips}, open(os.path.join(o.into, 'truth.json'), 'w'))


if __name__ == '__main__':
    main()
