#!/usr/bin/env python3
"""Fits the weights of `src/playing/bars.rs`: which beats are downbeats.

    playing_bars.py SETS LINES

SETS is what `playing_scenes.py` wrote; LINES is what `cargo run --example downbeats SETS/{many,many_harsh,more_scenes,more_scenes_harsh}/truth.json` printed.
A logistic regression with a little decay, a beat a row, on pieces of whose beats a tenth to six tenths are labelled as downbeats; scenes count half. Bars of three and
four are laid without leaps. Prints, for songs and scenes left out in five folds, the F-measure of the downbeats (70 ms) beside that of the best of those ways, and how
often bars are right by how far they lead; then the weights. Needs numpy.
"""
import collections, json, os, sys
import numpy as np

FOLDS, REACH, DECAY, SCENES, MEETS, SETTLED = 5, 3, 30., .5, .07, 5


def read(sets, lines):
    labels = {(name, c['file']): (c['song'], c['downbeats']) for name in ('many', 'many_harsh', 'more_scenes', 'more_scenes_harsh') for c in json.load(open(os.path.join(sets, name, 'truth.json')))['clips']}
    pieces = collections.OrderedDict()
    for line in open(lines):
        path, piece, _, time, apart, features = line.rstrip('\n').split('\t')
        pieces.setdefault((os.path.basename(os.path.dirname(path)), piece), []).append([float(time), float(apart), *map(float, features.split())])
    for key, rows in pieces.items():
        rows = np.array(rows)
        if len(rows) < 6: continue
        x = np.pad(rows[:, 2:] - rows[:, 2:].mean(0), ((REACH, REACH), (0, 0)))
        yield key[0], *labels[key], rows[:, 0], rows[:, 1] < MEETS, np.concatenate([x[i:i + len(rows)] for i in range(2 * REACH + 1)], 1)


def fit(x, y, weight):
    spread = x.std(0) + 1e-9
    x = np.concatenate([x / spread, np.ones((len(x), 1))], 1)
    w = np.zeros(x.shape[1])
    for _ in range(12):
        p = 1 / (1 + np.exp(-(x @ w)))
        slope = x.T @ (weight * (y - p)) - DECAY * np.append(w[:-1], 0)
        w += np.linalg.solve((x * (weight * p * (1 - p))[:, None]).T @ x + DECAY * np.diag(np.append(np.ones(len(w) - 1), 1e-6)), slope)
    return w[:-1] / spread


def ways(odds, met, times, labelled):
    """(how far the downbeats stand out, F-measure) of every way to lay bars."""
    odds, n, settled = odds - odds.mean(), len(odds), times >= SETTLED
    for meter in (4, 3):
        for first in range(meter):
            chosen = np.arange(n) % meter == first
            f = 2 * (chosen & settled & met).sum() / max(1, (chosen & settled).sum() + sum(t >= SETTLED for t in labelled))
            yield odds[chosen].sum() / np.sqrt(n * (meter - 1)) * meter, f, odds[chosen].sum(), meter


def main(sets, lines):
    pieces = list(read(sets, lines))
    learned = [.1 < y.mean() < .6 for _, _, _, _, y, _ in pieces]
    def weights(keep):
        of = [p for p, ok in zip(pieces, learned) if ok and keep(p[1])]
        return fit(np.concatenate([p[5] for p in of]), np.concatenate([p[4] for p in of]), np.concatenate([np.full(len(p[4]), SCENES if p[1] >= 1000 else 1.) for p in of]))
    folds = [weights(lambda song: song % FOLDS != fold) for fold in range(FOLDS)]
    found, leads = collections.defaultdict(list), []
    for name, song, labelled, times, met, x in pieces:
        all_ways = list(ways(x @ folds[song % FOLDS], met, times, labelled))
        best = max(all_ways)
        found[name].append((best[1], max(w[1] for w in all_ways)))
        others = [w[2] for w in all_ways if w[3] == best[3] and w is not best]
        leads.append(((best[2] - max(others)) / np.sqrt(len(met)), best[1]))
    for name, rows in found.items(): print('%-20s left out %.3f  best way %.3f' % (name, *np.mean(rows, 0)))
    leads = sorted(leads)
    for part in np.array_split(np.array(leads), 8): print('lead %.2f to %.2f: right %.2f' % (part[0, 0], part[-1, 0], part[:, 1].mean()))
    w = weights(lambda song: True).reshape(2 * REACH + 1, -1).T
    for row in w: print('    [' + ', '.join(f'{v:.2f}' for v in row) + '],')


if __name__ == '__main__':
    if len(sys.argv) != 3: sys.exit(__doc__)
    main(*sys.argv[1:])
