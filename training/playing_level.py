#!/usr/bin/env python3
"""Fits the weights of `src/playing/level.rs`, which of several ways to count the beat is chosen, and of `src/playing/home.rs`, which key is home.

    playing_level.py SETS LINES beats|keys

SETS is what `playing_scenes.py` wrote; LINES is what `cargo run --example beat_levels SETS/{many,many_harsh,more_scenes,more_scenes_harsh}/truth.json` printed,
or `home_keys` in the place of `beat_levels`. A conditional logit with a little decay; what is maximised is the expected F-measure of the beats, with the likelihood of the best ways beside it (0.3), and
for keys the likelihood alone, since how likely a key is will be told. Prints the F-measure (the score of the key) if the best way were always taken, that of songs and scenes left out in five folds, and the weights.
Needs numpy.
"""
import collections, json, os, sys
import numpy as np

FOLDS = 5
# shares of the measure and of the likelihood, decay, steps, how much scenes count, whether features are brought to one spread
BEATS, KEYS = (3, .3, 5., 500, 2., True), (0, 3, 1., 3000, 3., False)


def read(sets, lines):
    song = {c['file']: c['song'] for name in ('many', 'more_scenes') for c in json.load(open(os.path.join(sets, name, 'truth.json')))['clips']}
    ways = collections.OrderedDict()
    for line in open(lines):
        corpus, piece, _, f, features = line.rstrip('\n').split('\t')
        ways.setdefault((corpus, piece), []).append((float(f), [float(x) for x in features.split()]))
    most, width = max(map(len, ways.values())), len(next(iter(ways.values()))[0][1])
    x, f, there = np.zeros((len(ways), most, width)), np.zeros((len(ways), most)), np.zeros((len(ways), most), bool)
    for i, rows in enumerate(ways.values()):
        f[i, :len(rows)], x[i, :len(rows)], there[i, :len(rows)] = [r[0] for r in rows], [r[1] for r in rows], True
    return x, f, there, np.array([song[k[1]] for k in ways]), np.array([os.path.basename(os.path.dirname(k[0])) for k in ways])


def fit(x, f, there, weight, measure, likelihood, decay, steps):
    w, m, v = np.zeros(x.shape[2]), 0., 0.
    best = np.exp(12 * f) * there
    best /= best.sum(1, keepdims=True)
    for step in range(1, steps + 1):
        s = np.where(there, x @ w, -1e9)
        p = np.exp(s - s.max(1, keepdims=True))
        p /= p.sum(1, keepdims=True)
        d = measure * p * (f - (p * f).sum(1, keepdims=True)) + likelihood * (best - p)
        g = ((d[:, :, None] * x).sum(1) * weight[:, None]).mean(0) - decay * w / len(x)
        m, v = .9 * m + .1 * g, .999 * v + .001 * g * g
        w = w + .05 * (m / (1 - .9 ** step)) / (np.sqrt(v / (1 - .999 ** step)) + 1e-8)
    return w


def main(sets, lines, what):
    *shares, scenes, even = {'beats': BEATS, 'keys': KEYS}[what]
    x, f, there, song, name = read(sets, lines)
    spread = x[there].std(0) + 1e-9 if even else 1.
    x = (x - x[there].mean(0)) / spread
    weight = np.where(song >= 1000, scenes, 1.)
    chosen = np.zeros(len(x))
    for fold in range(FOLDS):
        test = np.where(song % FOLDS == fold)[0]
        rest = np.where(song % FOLDS != fold)[0]
        w = fit(x[rest], f[rest], there[rest], weight[rest], *shares)
        chosen[test] = f[test, np.where(there[test], x[test] @ w, -1e9).argmax(1)]
    for n in dict.fromkeys(name):
        print(f'{n:20} best way {f.max(1)[name == n].mean():.3f}  left out {chosen[name == n].mean():.3f}')
    print(', '.join(f'{w:.2f}' for w in fit(x, f, there, weight, *shares) / spread))


if __name__ == '__main__':
    if len(sys.argv) != 4: sys.exit(__doc__)
    main(*sys.argv[1:])
