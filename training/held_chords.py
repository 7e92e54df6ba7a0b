"""Rendered held chords for setting the rules of settling on: recorded notes of real pianos, each chord struck once and held for two seconds.

  python3 training/held_chords.py --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --into DIR [--count 26] [--seed 7]

Writes DIR/audio/*.flac and DIR/truth.json: for each piano COUNT chords clean, in a room, and over a phone, one in ten rolled, some with talk and all with hiss as in drills.py.
No label is given: right is the name that the struck keys have. `cargo bench --bench live -- --corpus DIR --clips 390 --without-waiting` tells what would be shown of them.
"""
import argparse, json, os
import numpy as np
import soundfile
from drills import MATERIAL, RATE, Piano, degraded, read_mono

# half steps above the lowest or the root: spread, slash, rootless, suspended, altered
SHAPES = [shape for _, _, shape in MATERIAL] + [
    [0, 7, 16, 22], [0, 10, 16, 21], [0, 16, 22, 26], [0, 12, 16, 19, 22], [0, 11, 16, 19, 26], [0, 10, 15, 19], [0, 12, 15, 18, 23], [-12, 3, 6, 11],
    [-12, 4, 10, 13, 18], [0, 6, 10, 15], [0, 12, 24, 27, 33], [0, 3, 7, 14], [0, 4, 7, 14], [0, 4, 7, 9], [0, 3, 7, 9, 14], [0, 5, 10, 14], [-12, 0, 5, 9, 14],
    [0, 4, 8, 11], [0, 4, 10, 18], [0, 12, 15, 18, 23], [0, 12, 27, 30, 35], [0, 15, 18, 23, 36], [-12, 4, 8, 10, 15], [-12, 4, 9, 10, 13], [0, 7, 14, 15, 22], [0, 7, 11, 16, 26],
]
STRUCK, LET_GO, LENGTH = 0.4, 2.4, 3.2  # seconds


def chord(g, piano, shape):
    low = int(g.integers(41, 58)) if max(shape) <= 24 else int(g.integers(36, 48))
    keys = [low + up - min(0, min(shape)) for up in shape]
    sound = np.zeros(int(LENGTH * RATE), 'float32')
    release = g.uniform(0.03, 0.09)
    rolled = g.uniform(0.05, 0.15) if g.random() < 0.1 else 0
    notes = []
    for i, key in enumerate(sorted(keys)):
        at = STRUCK + g.uniform(0, 0.012) + rolled * i / (len(keys) - 1)
        y = piano.sound(key, int(np.clip(g.normal(60, 12), 30, 100)), LET_GO - at, release)
        first = int(at * RATE)
        y = y[:len(sound) - first]
        sound[first:first + len(y)] += y
        notes.append({'midi': key, 'onset': at, 'offset': LET_GO})
    return sound, notes


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ('--pianos', '--rooms', '--voices', '--into'):
        a.add_argument(name, required=True)
    a.add_argument('--count', type=int, default=26)
    a.add_argument('--seed', type=int, default=7)
    o = a.parse_args()
    g = np.random.default_rng(o.seed)
    os.makedirs(os.path.join(o.into, 'audio'), exist_ok=True)
    listed = lambda folder, ends: [read_mono(os.path.join(folder, f), RATE) for f in sorted(os.listdir(folder)) if f.endswith(ends)]
    rooms, voices = listed(o.rooms, '.wav'), listed(o.voices, '.flac')
    clips = []
    for name in sorted(os.listdir(o.pianos)):
        folder = os.path.join(o.pianos, name)
        if not os.path.isdir(folder):
            continue
        piano = Piano(folder)
        for condition in ('clean', 'room', 'phone'):
            for _ in range(o.count):
                sound, notes = chord(g, piano, SHAPES[len(clips) % len(SHAPES)])
                file = f'audio/held-{len(clips):03}.flac'
                soundfile.write(os.path.join(o.into, file), degraded(g, sound, condition, rooms, voices), RATE, subtype='PCM_16')
                clips.append({'file': file, 'kind': 'voicing', 'piano': name, 'condition': condition, 'seconds': LENGTH, 'notes': notes, 'chords': [{'start': STRUCK, 'end': LET_GO}]})
    json.dump({'clips': clips}, open(os.path.join(o.into, 'truth.json'), 'w'))


if __name__ == '__main__':
    main()
