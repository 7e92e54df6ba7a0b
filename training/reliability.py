"""How often what is said to be p likely is there: notes and chord names, ten bins each.

  python3 training/reliability.py CORPUS ESTIMATES [--json]

The factor it tells is the one by which the log-odds of what is said would have to be multiplied to fit what is there best (logistic
regression without a shift).

CORPUS holds truth.json (clips with `notes`: midi, onset, offset; held voicings with the `accepted` labels of their chord); ESTIMATES
holds one result document of `lidprop take --write json` a clip, named like the clip.

A note is there if the same key was held for at least half of its estimated time, or, for a note below 0.2 s, at any time of it. A name is
there if it has the root and the pitch classes of an accepted label; only the best name of the chord that overlaps a held voicing most
counts. Expected calibration error: the mean over all of |said - there| by bin (Naeini, Cooper, Hauskrecht, AAAI 2015). Notes below
the threshold at which they are reported are not in it, so that the lowest bins are thin.
"""
import json, math, os, sys
from collections import defaultdict

BINS = 10


def overlap(a, b, c, d):
    return min(b, d) - max(a, c)


def note_pairs(clip, estimate):
    """(said, there) of every estimated note."""
    held = defaultdict(list)
    for n in clip.get('notes', []):
        held[n['midi']].append((n['onset'], n['offset']))
    for n in estimate['notes']:
        length = n['end'] - n['start']
        shared = sum(max(0.0, overlap(n['start'], n['end'], *span)) for span in held[n['midi']])
        yield n['confidence'], shared > 0 if length < 0.2 else shared >= 0.5 * length


def mark_pairs(clip, estimate):
    """(said, there) of every key of the chords that lie over a held voicing."""
    for true in clip.get('chords', []):
        if not true.get('midi'):
            continue
        found = best_chord(true, estimate)
        for mark in (found or {}).get('marks', []):
            yield mark['confidence'], mark['midi'] in true['midi']


def best_chord(true, estimate):
    span = lambda c: overlap(c['start'], c['end'], true['start'], true['end'])
    return max((c for c in estimate['chords'] if span(c) > 0), key=span, default=None)


def meaning(label):
    """Root and pitch classes of an academic label; None where it is none."""
    import mir_eval
    try:
        root, bits, _ = mir_eval.chord.encode(label, reduce_extended_chords=False)
    except Exception:
        return None
    return (root, frozenset((root + i) % 12 for i in range(12) if bits[i])) if root >= 0 else None


def name_pairs(clip, estimate):
    """(said, there) of the best name of every held voicing."""
    for true in clip.get('chords', []):
        found = best_chord(true, estimate)
        if found and found['names'] and 'accepted' in true:
            name = found['names'][0]
            accepted = {meaning(label) for label in true['accepted']} - {None}
            yield name['score'], meaning(name['label']) in accepted


def diagram(pairs):
    """Bins with counts, and the expected calibration error."""
    bins = [[0, 0.0, 0] for _ in range(BINS)]
    for said, there in pairs:
        b = bins[min(BINS - 1, int(said * BINS))]
        b[0] += 1
        b[1] += said
        b[2] += bool(there)
    total = sum(b[0] for b in bins)
    error = sum(abs(b[1] - b[2]) for b in bins) / total if total else 0.0
    rows = [{'from': i / BINS, 'to': (i + 1) / BINS, 'count': n, 'said': said / n if n else None, 'there': there / n if n else None}
            for i, (n, said, there) in enumerate(bins)]
    return {'count': total, 'expected_calibration_error': round(error, 4), 'factor': factor(pairs), 'bins': rows}


def factor(pairs):
    """The factor on log-odds, at most 20, under which what is there is likeliest, by bisection; None without pairs of both kinds."""
    if len({bool(there) for _, there in pairs}) < 2:
        return None
    certain = lambda p: min(max(p, 1e-4), 1 - 1e-4)
    odds = [(math.log(certain(said) / (1 - certain(said))), bool(there)) for said, there in pairs]
    low, high = 0.0, 20.0
    for _ in range(40):
        a = (low + high) / 2
        slope = sum(x * (there - 1 / (1 + math.exp(-a * x))) for x, there in odds)
        low, high = (a, high) if slope > 0 else (low, a)
    return round(a, 2)


def show(title, d):
    factor = f', factor {d["factor"]:.2f}' if d['factor'] else ''
    print(f'{title}: {d["count"]}, expected calibration error {d["expected_calibration_error"]:.3f}{factor}')
    for b in d['bins']:
        if not b['count']:
            continue
        filled = round(40 * b['there'])
        mark = min(39, int(40 * b['said']))
        bar = ''.join('|' if i == mark else '#' if i < filled else '.' for i in range(40))
        print(f'  {b["from"]:.1f} to {b["to"]:.1f}  said {b["said"]:.2f}  there {b["there"]:.2f}  {bar}  {b["count"]}')


def main(corpus, estimates, as_json):
    with open(os.path.join(corpus, 'truth.json')) as h:
        clips = json.load(h)['clips']
    pairs = {'notes': [], 'keys of chords': [], 'best names': []}
    for clip in clips:
        path = os.path.join(estimates, os.path.splitext(os.path.basename(clip['file']))[0] + '.json')
        if not os.path.exists(path):
            continue
        with open(path) as h:
            estimate = json.load(h)
        pairs['notes'] += note_pairs(clip, estimate)
        pairs['keys of chords'] += mark_pairs(clip, estimate)
        pairs['best names'] += name_pairs(clip, estimate)
    diagrams = {title: diagram(p) for title, p in pairs.items()}
    if as_json:
        print(json.dumps(diagrams))
        return
    print('How often what is said to be p likely is there (bar: there; |: said)')
    for title, d in diagrams.items():
        show(title, d)


if __name__ == '__main__':
    arguments = [a for a in sys.argv[1:] if not a.startswith('--')]
    if len(arguments) != 2:
        sys.exit(__doc__)
    main(*arguments, as_json='--json' in sys.argv)
