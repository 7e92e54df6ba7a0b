"""What the level of a key's first four partials lies above that of its piano's median key, by octave (`BY_OCTAVE` of src/chart/velocity.rs).

  cargo run --example frame_evidence -- --into FRAMES/PIANO ../shared/pianos/PIANO/*.flac      for each piano
  python3 training/key_levels.py --pianos ../shared/pianos --frames FRAMES

Each dynamic layer of a piano is measured against its own median; octaves are averaged over the layers of a piano, then over the pianos.
"""
import argparse, csv, os
import numpy as np

KEYS, BINS = 88, 312
WIDTH = 3 * KEYS + 2 * BINS + 1
STRUCK_WITHIN = 12  # frames


def frames_of(folder, row):
    """What `examples/frame_evidence` wrote of a recording: [frames, WIDTH]."""
    return np.fromfile(os.path.join(folder, os.path.splitext(os.path.basename(row['file']))[0] + '.f32'), '<f4').reshape(-1, WIDTH)


def layers(folder, frames):
    """{velocity: [(midi, dB)]}"""
    out = {}
    with open(os.path.join(folder, 'map.tsv')) as h:
        for row in csv.DictReader(h, delimiter='\t'):
            power = frames_of(frames, row)[:STRUCK_WITHIN, 2 * KEYS + int(row['midi']) - 21].max()
            out.setdefault(row['velocity'], []).append((int(row['midi']), 10 * np.log10(power + 1e-12)))
    return {velocity: np.array(notes) for velocity, notes in out.items()}


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('--pianos', required=True)
    a.add_argument('--frames', required=True)
    o = a.parse_args()
    pianos = []
    for piano in sorted(os.listdir(o.frames)):
        table = []
        for notes in layers(os.path.join(o.pianos, piano), os.path.join(o.frames, piano)).values():
            over = notes[:, 1] - np.median(notes[:, 1])
            table.append([over[(notes[:, 0] >= low) & (notes[:, 0] < low + 12)].mean() if ((notes[:, 0] >= low) & (notes[:, 0] < low + 12)).any() else np.nan for low in range(21, 109, 12)])
        pianos.append(np.nanmean(table, 0))
        print(f'{piano:20s}', pianos[-1].round(1))
    print(f'{"mean":20s}', np.mean(pianos, 0).round(1))


if __name__ == '__main__':
    main()
