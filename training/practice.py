"""Labelled clips of one piano for setting thresholds on: held voicings and scenes as in training, in the format of an evaluation corpus.

  python3 training/practice.py --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --piano grand-steinway --into DIR
      [--count 160] [--seed 9000]

Writes DIR/audio/*.wav (4 s each) and DIR/truth.json: COUNT held voicings with rooms, noise, voices, saturation and coding, a quarter as many dry,
and COUNT scenes of progressions and free playing. Read them by a `lidprop` whose weights have not met the piano; reliability.py compares.
"""
import argparse, json, os
import numpy as np
import soundfile
import torch
import scenes
scenes.SECONDS = 4.0  # render.py takes its sizes from it
import render
render.CONVOLUTION, render.NOISE = 131072, 98304
from front_end import RATE
from scenes import FIELDS, SceneMaker, held
from sounds import Backdrop, Bank

AT_ONCE = 20
LET_GO = 3.6  # seconds
COLUMN = {f: i for i, f in enumerate(FIELDS)}


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ('--pianos', '--rooms', '--voices', '--piano', '--into'):
        a.add_argument(name, required=True)
    a.add_argument('--count', type=int, default=160)
    a.add_argument('--seed', type=int, default=9000)
    o = a.parse_args()
    os.makedirs(os.path.join(o.into, 'audio'), exist_ok=True)
    bank = Bank('cpu')
    bank.add_folder(os.path.join(o.pianos, o.piano))
    table = bank.finish()
    renderer = render.Renderer(bank, Backdrop(o.rooms, o.voices, 'cpu', render.LENGTH), 'cpu', o.seed)
    clips = []

    def put(name, sound, kind, condition, notes, chords):
        soundfile.write(os.path.join(o.into, 'audio', f'{name}.wav'), sound.numpy(), RATE, subtype='PCM_16')
        clips.append({'file': f'audio/{name}.wav', 'kind': kind, 'piano': o.piano, 'condition': condition, 'notes': notes, 'chords': chords})

    for condition, chance, count in (('dry', 0.0, o.count // 4), ('degraded', 1.0, o.count)):
        for part in range(0, count, AT_ONCE):
            many = min(AT_ONCE, count - part)
            rows, sets = held(table, 0, many, o.seed + part + int(1000 * chance))
            rows[:, COLUMN['off']] = LET_GO * RATE
            sound, *_ = renderer(rows, many, chance)
            for i in range(many):
                notes = [{'midi': int(r[COLUMN['midi']]), 'onset': float(r[COLUMN['onset']]), 'offset': LET_GO} for r in rows[rows[:, 0] == i]]
                chord = {'start': 0.5, 'end': LET_GO, 'midi': sorted(sets[i])}
                put(f'held-{condition}-{part + i:03}', sound[i], 'voicing', condition, notes, [chord])
    maker = SceneMaker(table, {0: 1.0}, o.seed + 5)
    for part in range(0, o.count, AT_ONCE):
        rows = maker.batch(AT_ONCE)
        sound, *_ = renderer(rows, AT_ONCE, 1.0)
        for i in range(AT_ONCE):
            notes = []
            for r in rows[(rows[:, 0] == i) & (rows[:, COLUMN['label']] == 1)]:
                onset = r[COLUMN['onset']]
                fades = onset + 0.92 * r[COLUMN['length']] / r[COLUMN['increment']] / RATE
                offset = min(r[COLUMN['off']] / RATE, fades, scenes.SECONDS)
                if offset > max(onset, 0.0):
                    notes.append({'midi': int(r[COLUMN['midi']]), 'onset': float(onset), 'offset': float(offset)})
            put(f'scene-{part + i:03}', sound[i], 'tune', 'degraded', notes, [])
    with open(os.path.join(o.into, 'truth.json'), 'w') as h:
        json.dump({'clips': clips}, h, indent=1)


if __name__ == '__main__':
    main()
