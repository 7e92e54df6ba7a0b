"""Labelled clips of one piano for setting thresholds on: held voicings and scenes as in training, in the format of an evaluation corpus.

  python3 training/practice.py --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --piano grand-steinway --into DIR
      [--count 160] [--seed 9000] [--playing 40 --performances ../shared/performances.jsonl.gz]

Writes DIR/audio/*.wav (4 s each; with --playing, so many of 12 s of playing alone, as flac) and DIR/truth.json: COUNT held voicings with rooms, noise, voices, saturation and coding, a quarter as many dry,
and COUNT scenes of progressions and free playing. Read them by a `lidprop` whose weights have not met the piano; reliability.py compares.
"""
import argparse, json, os, sys
import soundfile
import torch
import scenes
scenes.SECONDS = 12.0 if '--playing' in sys.argv else 4.0  # render.py takes its sizes from it
import render
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
    a.add_argument('--playing', type=int, default=0)
    a.add_argument('--performances', default='')
    a.add_argument('--device', default='cpu')
    o = a.parse_args()
    os.makedirs(os.path.join(o.into, 'audio'), exist_ok=True)
    bank = Bank(o.device)
    bank.add_folder(os.path.join(o.pianos, o.piano))
    table = bank.finish()
    renderer = render.Renderer(bank, Backdrop(o.rooms, o.voices, o.device, render.LENGTH), o.device, o.seed, 0.1)
    clips = []

    def notes_of(rows):
        """What a scene's strikes are as notes, with the pedal."""
        notes = []
        for r in rows[rows[:, COLUMN['label']] == 1]:
            onset = r[COLUMN['onset']]
            fades = onset + 0.92 * r[COLUMN['length']] / r[COLUMN['increment']] / RATE
            offset = min(r[COLUMN['until']], fades, scenes.SECONDS)
            if offset > max(onset, 0.0):
                notes.append({'midi': int(r[COLUMN['midi']]), 'onset': float(onset), 'offset': float(offset), 'velocity': int(r[COLUMN['velocity']])})
        return notes

    if o.playing:
        maker = SceneMaker(table, {0: 1.0}, o.seed, 0.0, 1.0, o.performances)
        for i in range(o.playing):
            rows, pedals = maker.batch(1)
            chance = 0.0 if i % 4 == 0 else 1.0
            sound, *_ = renderer(rows, 1, chance, pedals)
            name = f'playing-{i:03}'
            soundfile.write(os.path.join(o.into, 'audio', f'{name}.flac'), sound[0].cpu().numpy().clip(-1, 1), RATE, subtype='PCM_16')
            pedal = [e for _, down, up in pedals for e in ([max(0.0, down), True], [min(up, scenes.SECONDS), False])]
            clips.append({'file': f'audio/{name}.flac', 'kind': 'played', 'piano': o.piano, 'condition': 'degraded' if chance else 'dry', 'seconds': scenes.SECONDS,
                          'notes': [n for n in notes_of(rows) if n['onset'] >= 0], 'chords': [], 'pedal': pedal})
        with open(os.path.join(o.into, 'truth.json'), 'w') as h:
            json.dump({'clips': clips}, h, indent=1)
        return

    def put(name, sound, kind, condition, notes, chords):
        soundfile.write(os.path.join(o.into, 'audio', f'{name}.wav'), sound.numpy(), RATE, subtype='PCM_16')
        clips.append({'file': f'audio/{name}.wav', 'kind': kind, 'piano': o.piano, 'condition': condition, 'notes': notes, 'chords': chords})

    for condition, chance, count in (('dry', 0.0, o.count // 4), ('degraded', 1.0, o.count)):
        for part in range(0, count, AT_ONCE):
            many = min(AT_ONCE, count - part)
            rows, sets = held(table, 0, many, o.seed + part + int(1000 * chance))
            rows[:, COLUMN['off']], rows[:, COLUMN['until']] = LET_GO * RATE, LET_GO
            sound, *_ = renderer(rows, many, chance)
            for i in range(many):
                notes = [{'midi': int(r[COLUMN['midi']]), 'onset': float(r[COLUMN['onset']]), 'offset': LET_GO} for r in rows[rows[:, 0] == i]]
                chord = {'start': 0.5, 'end': LET_GO, 'midi': sorted(sets[i])}
                put(f'held-{condition}-{part + i:03}', sound[i], 'voicing', condition, notes, [chord])
    maker = SceneMaker(table, {0: 1.0}, o.seed + 5)
    for part in range(0, o.count, AT_ONCE):
        rows, _ = maker.batch(AT_ONCE)
        sound, *_ = renderer(rows, AT_ONCE, 1.0)
        for i in range(AT_ONCE):
            put(f'scene-{part + i:03}', sound[i], 'tune', 'degraded', notes_of(rows[rows[:, 0] == i]), [])
    with open(os.path.join(o.into, 'truth.json'), 'w') as h:
        json.dump({'clips': clips}, h, indent=1)


if __name__ == '__main__':
    main()
