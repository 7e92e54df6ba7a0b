#!/usr/bin/env python3
"""Invented scenes and excerpts of the songs, as notes with labels: on them the weights of `src/playing` were set.

    playing_scenes.py PERFORMANCES INTO

PERFORMANCES is performances.jsonl.gz . Writes INTO/scenes/truth.json (48 pieces of about half a minute, 12 of each texture: a ballad with a
broken rootless left hand, stride, comping over a walking bass, locked hands; progressions, voicings and tunes drawn by chance, hands 11 ms apart, eighths swung)
and INTO/songs/truth.json (half a minute of each song; every third has the condition "heldout" and was only looked at, never fitted), and for both the same once more
with strengths undone, 8 per cent of the notes lost and 12 ms of disturbance. For the beat: INTO/many (up to six excerpts of each song, 38 s apart) and
INTO/more_scenes (120 scenes), and both as `_harsh` (a tenth of the notes lost, strengths drawn anew, 14 ms of disturbance, one note in twenty beside another that was not
played). For "no chord": INTO/none (24 runs in scales, in one hand or octaves, and the tunes of every third song alone). Prints how the weight of notes lies over the intervals of each kind of labelled chord:
the shares in `src/playing/families.rs` are these, rounded. Fields as in the labelled corpora: notes (midi, onset, offset, velocity), chords, beats, downbeats, key.
"""
import bisect, collections, gzip, json, math, os, random, sys

NAMES = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'Ab', 'A', 'Bb', 'B']
# own notes, tensions
QUALITIES = {'maj7': ([0, 4, 7, 11], [2, 9]), 'maj6(9)': ([0, 4, 7, 9], [2]), 'min7': ([0, 3, 7, 10], [2, 5]), 'min6': ([0, 3, 7, 9], [2]),
             '7': ([0, 4, 7, 10], [2, 9]), '9(13)': ([0, 4, 7, 10], [2, 9]), '7(b9)': ([0, 4, 7, 10], [1]), '7(#9,b13)': ([0, 4, 7, 10], [3, 8]),
             '7(b9,13)': ([0, 4, 7, 10], [1, 9]), '7(#11)': ([0, 4, 7, 10], [6, 2]), 'sus4(b7)': ([0, 5, 7, 10], [2]), 'hdim7': ([0, 3, 6, 10], [5]),
             'dim(7)': ([0, 3, 6, 11], []), 'dim7': ([0, 3, 6, 9], [])}
NO_FIFTH = ('dim(7)', 'hdim7', 'dim7')


def progression(rng, key, bars):
    """(root, quality, beats): cadences into the degrees of a major key, by the dominant, a substitute or a diminished chord."""
    out = [(0, rng.choice(['maj7', 'maj7', 'maj6(9)']), 4)]
    dominant = lambda t: ((t + 7) % 12, rng.choice(['7', '9(13)', '7(b9)', '7(#9,b13)', '7(b9,13)', 'sus4(b7)']))
    while sum(x[2] for x in out) < bars * 4:
        t = rng.choice([0, 0, 5, 2, 9, 4])
        minor = t in (2, 9, 4)
        goal = (t, ('min7' if rng.random() < .6 else 'min6') if minor else 'maj7')
        kind = rng.random()
        if kind < .35: steps = [((t + 2) % 12, 'hdim7' if minor else 'min7'), dominant(t), goal]
        elif kind < .6: steps = [((t + rng.choice([11, 2, 5, 8])) % 12, 'dim(7)'), goal]
        elif kind < .7: steps = [((t + 2) % 12, 'min7'), ((t + 1) % 12, '7(#11)'), goal]
        elif kind < .8: steps = [((t - 1) % 12, 'dim7'), goal]
        elif kind < .9: steps = [dominant(t), goal]
        else: steps = [goal]
        out += [(r, q, rng.choice([2, 4, 4])) for r, q in steps]
        if sum(x[2] for x in out) % 4: out[-1] = (*out[-1][:2], out[-1][2] + 2)
    return [((r + key) % 12, q, n) for r, q, n in out]


def voicing(rng, root, quality):
    own, tensions = QUALITIES[quality]
    classes = [own[1], own[-1]] + (own[2:3] if rng.random() < .5 or not tensions else []) + tensions[:rng.choice([1, 1, 2])]
    if quality.startswith('dim'): classes = own[rng.choice([0, 1]):]
    base = rng.choice([50, 52, 53])
    return sorted(base + (root + c - base) % 12 for c in dict.fromkeys(classes))[:4]


def scene(seed, texture):
    rng = random.Random(seed)
    bpm = rng.uniform(*{'ballad': (52, 80), 'stride': (95, 165), 'comping': (100, 190), 'locked': (90, 160)}[texture])
    swing = .5 if texture == 'ballad' else rng.uniform(.54, .68)
    key, beat_s, begin, notes, chords, at, tune = rng.randrange(12), 60 / bpm, rng.uniform(.3, 1), [], [], 0, 72 + rng.randrange(6)
    plan = progression(rng, key, int(30 / (240 / bpm)))
    def time(b):
        whole, part = int(b // 1), b % 1
        return begin + (whole + (swing if abs(part - .5) < .01 else part)) * beat_s
    def play(b, lasts, midi, velocity):
        notes.append(dict(midi=midi, onset=round(max(0, time(b) + rng.gauss(0, .011)), 4), offset=round(time(b) + lasts * beat_s, 4),
                          velocity=int(max(20, min(120, velocity + rng.gauss(0, 5))))))
    for i, (root, quality, n) in enumerate(plan):
        chords.append(dict(start=round(time(at), 4), end=round(time(at + n), 4), label=f'{NAMES[root]}:{quality}'))
        own, tensions = QUALITIES[quality]
        chord_classes = {(root + x) % 12 for x in own + tensions}
        scale = chord_classes | ({(key + x) % 12 for x in (0, 2, 4, 5, 7, 9, 11)} if rng.random() < .5 else set())
        following = plan[i + 1][0] if i + 1 < len(plan) else root
        low = 36 + root % 12
        low += 12 if low < (34 if texture == 'locked' else 38) else 0
        hand = voicing(rng, root, quality)
        if texture == 'ballad':
            play(at, n, low, 58)
            for j in range(1, 2 * n):
                if rng.random() < .85: play(at + j / 2, min(n - j / 2, 2), hand[(j - 1) % len(hand)], 46)
        elif texture == 'stride':
            for j in range(0, n, 2):
                play(at + j, .55, low + (7 if j % 4 and rng.random() < .4 and quality not in NO_FIFTH else 0), 68)
                for k in hand: play(at + j + 1, .42, k, 57)
        elif texture == 'comping':
            for j in range(n):
                walk = root if j == 0 else following + rng.choice([1, -1, 7]) if j == n - 1 else root + rng.choice(own)
                play(at + j, .92, low if j == 0 else 36 + walk % 12, 66)
            for hit in rng.choice([[0, 1.5], [.5, 2], [0, 2.5], [1.5, 3], [0], [.5, 3.5], [1, 2.5]]):
                if hit < n:
                    for k in hand: play(at + hit, rng.choice([.4, .9]), k, 58)
        else:
            for j in range(0, n, 2): play(at + j, 1.9, low if j == 0 or quality in NO_FIFTH else low + rng.choice([0, 7, -5]), 60)
        j = 0
        while j < n:
            lasts = rng.choice([.5, 1, 1, 2] if texture == 'ballad' else [.5, .5, 1, 1, 2])
            if rng.random() < .8:
                pool = chord_classes if j % 1 == 0 and rng.random() < .7 else scale
                near = tune + rng.choice([-4, -2, -1, 1, 2, 4])
                tune = min((k for k in range(64, 86) if k % 12 in pool), key=lambda k: abs(k - near))
                play(at + j, min(lasts, n - j) * .95, tune, 84)
                if texture == 'locked' and lasts >= 1:
                    for k in [k for k in range(tune - 12, tune) if (k - root) % 12 in own][-4:]: play(at + j, min(lasts, n - j) * .6, k, 62)
            j += lasts
        at += n
    return dict(file=f'scenes/scene-{seed:03}', kind='played', condition='scene', piano=texture, seconds=time(at) + .5, notes=sorted(notes, key=lambda n: n['onset']),
                chords=chords, beats=[round(time(b), 4) for b in range(at)], downbeats=[round(time(b), 4) for b in range(0, at, 4)], key=f'{NAMES[key]}:maj')


def sounding(song):
    """Notes with the pedal: (on, damper falls, key, velocity, track), by start."""
    down, spans = None, []
    for t, value in song['pedal'] + [[math.inf, 0]]:
        if value >= 64 and down is None: down = t
        elif value < 64 and down is not None: spans.append((down, t)); down = None
    starts, again, out = [s[0] for s in spans], {}, []
    for on, off, key, velocity, track in sorted(song['notes'], key=lambda n: -n[0]):
        i = bisect.bisect_left(starts, off) - 1
        end = max(off, spans[i][1]) if i >= 0 and spans[i][1] > off else off
        out.append((on, min(end, max(off, again.get(key, math.inf))), key, velocity, track))
        again[key] = on
    return out[::-1]


def excerpt(rng, song, number, begin=None):
    bars = [t for t, first in song['beats'] if first]
    if begin is None: begin = bars[rng.randrange(2, len(bars) // 2)] - .4
    while not any(c[2] != 'N' and c[0] < begin + 31 and c[1] > begin for c in song['chords']): begin += 10
    end = begin + 31
    notes = [dict(midi=k, onset=round(max(0, on - begin + rng.gauss(0, .009)), 4), offset=round(min(31, off - begin), 4), velocity=v)
             for on, off, k, v, track in sounding(song) if begin <= on < end - .5 and (track != 'M' or song['id'] % 2)]
    for n in notes: n['offset'] = max(n['offset'], n['onset'] + .03)
    return dict(file=f'songs/song-{song["id"]:03}', kind='played', condition='set' if number % 3 else 'heldout', piano='song', seconds=31.,
                notes=sorted(notes, key=lambda n: n['onset']), beats=[t - begin for t, _ in song['beats'] if begin <= t < end],
                downbeats=[t - begin for t, first in song['beats'] if first and begin <= t < end],
                chords=[dict(start=max(0, a - begin), end=min(31, b - begin), label=l) for a, b, l in song['chords'] if l != 'N' and a < end - .01 and b > begin + .01],
                key=max(song['key'], key=lambda k: min(k[1], end) - max(k[0], begin))[2])


def shares(songs):
    """Mean share of the weight of all notes by half steps above the root, for each kind of chord."""
    sums, counts = collections.defaultdict(lambda: [0.] * 12), collections.Counter()
    pc = lambda w: (dict(C=0, D=2, E=4, F=5, G=7, A=9, B=11)[w[0]] + w.count('#') - w[1:].count('b')) % 12
    for song in songs:
        notes = sounding(song)
        beat = song['beats'][1][0] - song['beats'][0][0]
        for a, b, label in song['chords']:
            if label == 'N': continue
            root, kind = label.split('/')[0].split(':')
            weight = [0.] * 12
            for on, off, k, _, _ in notes:
                if on >= b - .05: break
                lasts = min(off, b) - max(on, a - .05)
                if lasts > 0: weight[(k - pc(root)) % 12] += .5 * (on >= a - .05) + .5 * min(2, lasts / beat)
            weight = [math.sqrt(w) for w in weight]
            if sum(weight):
                counts[kind] += 1
                sums[kind] = [s + w / sum(weight) for s, w in zip(sums[kind], weight)]
    return [(kind, n, [round(1000 * s / n) for s in sums[kind]]) for kind, n in counts.most_common()]


def disturbed(rng, clip):
    notes = [dict(n, velocity=rng.uniform(45, 110) if rng.random() < .5 else 80, onset=max(0, n['onset'] + rng.gauss(0, .012))) for n in clip['notes'] if rng.random() > .08]
    for n in notes: n['offset'] = max(n['offset'], n['onset'] + .05)
    return dict(clip, notes=sorted(notes, key=lambda n: n['onset']))


def harsher(rng, clip):
    notes = []
    for n in clip['notes']:
        if rng.random() < .1: continue
        n = dict(n, velocity=rng.uniform(30, 120), onset=max(0, n['onset'] + rng.gauss(0, .014)))
        notes.append(n)
        if rng.random() < .06: notes.append(dict(n, midi=n['midi'] + rng.choice([12, -12, 12, 19, 7]), onset=n['onset'] + rng.choice([0, 0, .15, .3])))
    notes = [dict(n, offset=max(n['offset'], n['onset'] + .05)) for n in notes if 21 <= n['midi'] <= 108]
    return dict(clip, notes=sorted(notes, key=lambda n: n['onset']))


def many_excerpts(rng, song, number):
    """Up to six excerpts, 38 s apart."""
    bars, out = [t for t, first in song['beats'] if first], []
    at = bars[1]
    while at + 31 < song['beats'][-1][0] and len(out) < 6:
        begin = min(bars, key=lambda t: abs(t - at))
        if any(c[2] != 'N' and c[0] < begin + 31 and c[1] > begin for c in song['chords']):
            clip = excerpt(rng, song, number, begin - .4)
            if len(clip['notes']) > 40 and len(clip['beats']) > 12: out.append(dict(clip, file=f'{clip["file"]}-{len(out)}', song=number))
        at += 38
    return out


def run(seed):
    """A scale up and down, in one hand or in octaves."""
    rng = random.Random(seed)
    scale = rng.choice([[0, 2, 4, 5, 7, 9, 11], [0, 2, 3, 5, 7, 8, 11], [0, 2, 3, 5, 7, 8, 10], list(range(12))])
    tonic, step, below, degree, up, notes, t = rng.randrange(12), 60 / rng.uniform(60, 130) / rng.choice([2, 3, 4]), rng.choice([0, 0, 12]), rng.randrange(14, 21), 1, [], .6
    while t < 25:
        key = 24 + tonic + 12 * (degree // len(scale)) + scale[degree % len(scale)]
        for k in {key, key - below}:
            if 36 <= k <= 96: notes.append(dict(midi=k, onset=t + rng.gauss(0, .01), offset=t + step * rng.uniform(.8, 1.15), velocity=70))
        if degree > 38 or (degree > 26 and rng.random() < .06): up = -1
        if degree < 16 or (degree < 24 and rng.random() < .06): up = 1
        degree, t = degree + up, t + step * (4 if rng.random() < .02 else 1)
    return dict(file=f'none/run-{seed:02}', kind='played', condition='run', piano='run', seconds=26., notes=sorted(notes, key=lambda n: n['onset']), chords=[], beats=[], downbeats=[])


def tune(song):
    notes = [dict(midi=k, onset=on - 30, offset=off - 30, velocity=v) for on, off, k, v, track in song['notes'] if track == 'M' and 30 <= on < 60]
    return dict(file=f'none/tune-{song["id"]:03}', kind='played', condition='tune', piano='tune', seconds=31., notes=notes, chords=[], beats=[], downbeats=[])


def main(performances, into):
    with gzip.open(performances, 'rt') as lines: songs = [json.loads(line) for line in lines]
    rng = random.Random(5)
    long_enough = [s for s in songs if sum(first for _, first in s['beats']) >= 20]
    sets = dict(scenes=[scene(i, ('ballad', 'stride', 'comping', 'locked')[i % 4]) for i in range(48)],
                songs=[excerpt(rng, s, i) for i, s in enumerate(long_enough)])
    for name, clips in list(sets.items()): sets[name + '_disturbed'] = [disturbed(rng, c) for c in clips]
    sets['many'] = [c for i, s in enumerate(long_enough) for c in many_excerpts(rng, s, i)]
    sets['more_scenes'] = [dict(scene(1000 + i, ('ballad', 'stride', 'comping', 'locked')[i % 4]), song=1000 + i) for i in range(120)]
    for name in ('many', 'more_scenes'): sets[name + '_harsh'] = [harsher(rng, c) for c in sets[name]]
    sets['none'] = [run(i) for i in range(24)] + [c for c in map(tune, songs[::3]) if len(c['notes']) >= 20]
    for name, clips in sets.items():
        os.makedirs(os.path.join(into, name), exist_ok=True)
        with open(os.path.join(into, name, 'truth.json'), 'w') as out: json.dump(dict(clips=clips), out)
    for kind, n, row in shares(songs): print(f'{kind:10} {n:5}', *(f'{x:4}' for x in row))


if __name__ == '__main__':
    if len(sys.argv) != 3: sys.exit(__doc__)
    main(*sys.argv[1:])
