"""How well drills are marked, and the bounds of marking that do best.

  python3 training/drill_bounds.py CORPUS READ [--lidprop PATH]   marks every drill of CORPUS/truth.json with lidprop, keeps the JSON in the folder READ, prints the table
  python3 training/drill_bounds.py CORPUS READ --fit              from what was read: bounds set on the even drills, and what they do on the odd ones

CORPUS is an evaluation corpus (for measuring alone) or what drills.py has rendered (for setting bounds on). A figure is a share of attempts; an attempt that was not
found counts as unsure. Costs of the fit: a right attempt marked as a slip 20, as unsure 3; a slip marked right 5, as unsure 1.
"""
import json, os, subprocess, sys
from collections import Counter, defaultdict
from concurrent.futures import ThreadPoolExecutor

QUALITIES = {'dim(7)': 'dim(maj7)', 'hdim7': 'm7b5', 'minmaj7': 'm(maj7)', 'min7': 'm7', 'min': 'm'}
NEAR = 0.5  # seconds between the starts of an attempt and of what was found of it
RINGING = (12, 19, 24, 28, 31, 34, 36)
BOUNDS = dict(missing=-1.5, there=-0.5, extra=1.0, doubted=0.0, extra_unstruck=2.0, ghost=3.0, ghost_doubted=2.0, extra_alone=4.0, early_margin=1.0, plain_after=0.6, slip_after=0.4)
GRID = dict(missing=[-3, -2.5, -2, -1.5, -1, -.5], there=[-2, -1.5, -1, -.5, 0, .5], extra=[0, .5, 1, 1.5, 2, 2.5], doubted=[-1, -.5, 0, .5, 1, 1.5, 2], extra_unstruck=[.5, 1, 1.5, 2, 2.5, 3],
            ghost=[1, 1.5, 2, 2.5, 3, 3.5, 4], ghost_doubted=[0, .5, 1, 1.5, 2, 2.5, 3, 3.5], extra_alone=[0, 2, 3, 3.5, 4, 4.5, 5], early_margin=[0, .5, 1, 1.5, 2], plain_after=[0.25, 0.4, 0.6, 0.9], slip_after=[0.25, 0.4, 0.6, 0.9])


def read(corpus, clip, folder, lidprop):
    path = os.path.join(folder, os.path.basename(clip['file']) + '.json')
    what = clip.get('play') or QUALITIES.get(clip['quality'], clip['quality'])
    command = [lidprop, 'drill', '--from', os.path.join(corpus, clip['file']), what, '--write', 'json', '--order', clip['order']]
    if 'form' in clip: command += ['--form', clip['form']]
    if not os.path.exists(path):
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode: print(clip['file'], done.stderr.strip(), file=sys.stderr)
        open(path, 'w').write(done.stdout or '{"attempts": []}')
    return json.load(open(path))


def pairs(clip, told):
    """Each attempt with the one found that begins nearest, or none."""
    left = list(told['attempts'])
    for true in clip['attempts']:
        near = min(left, key=lambda a: abs(a['start'] - true['start']), default=None)
        if near is not None and abs(near['start'] - true['start']) <= NEAR:
            left.remove(near)
            yield true, near
        else:
            yield true, None


def keys(found):
    return {k['midi'] for k in found['keys'] if k['judged'] in ('missing', 'extra')}


def table(rows):
    print(f"{'':24s} {'right':>6s} {'-> slip':>8s} {'or unsure':>9s} {'slips':>6s} {'-> slip':>8s} {'or unsure':>9s} {'keys':>6s} {'starts':>7s} {'ends':>6s} {'spurious':>8s}")
    for name, r in rows:
        share = lambda a, b: f'{a / b:.3f}' if b else '-'
        print(f"{name:24s} {r['right']:6d} {share(r['false'], r['right']):>8s} {share(r['false'] + r['right unsure'], r['right']):>9s} {r['slips']:6d} {share(r['caught'], r['slips']):>8s}"
              f" {share(r['caught'] + r['slip unsure'], r['slips']):>9s} {share(r['keys'], r['caught']):>6s} {share(r['starts'], r['all']):>7s} {share(r['ends'], r['all']):>6s} {r['spurious']:8d}")


def score(clips, told):
    rows = defaultdict(Counter)
    kinds = defaultdict(Counter)
    for clip in clips:
        groups = ['all', clip['condition'], clip['piano']]
        matched = 0
        for true, found in pairs(clip, told[clip['file']]):
            outcome = found['outcome'] if found else 'unsure'
            matched += found is not None
            count = Counter(all=1)
            if found:
                count['starts'] = abs(found['start'] - true['start']) <= 0.1
                count['ends'] = abs(found['end'] - true['end']) <= 0.1
            if true['right']:
                count['right'], count['false'], count['right unsure'] = 1, outcome == 'slip', outcome == 'unsure'
            else:
                count['slips'], count['caught'], count['slip unsure'] = 1, outcome == 'slip', outcome == 'unsure'
                if outcome == 'slip':
                    wrong = set(true['target_midi']) ^ set(true['played_midi'])
                    count['keys'] = keys(found) == wrong
            kind = 'right' if true['right'] and not true.get('corrected') else f"corrected ({true['corrected']})" if true['right'] else true.get('slip') or 'slip'
            kinds[kind][outcome if found else 'not found'] += 1
            for g in groups: rows[g].update(count)
        for g in groups: rows[g]['spurious'] += len(told[clip['file']]['attempts']) - matched
    table([('all', rows['all'])] + sorted((k, v) for k, v in rows.items() if k != 'all'))
    print(f"\n{'what was played':24s} {'right':>6s} {'slip':>6s} {'unsure':>6s} {'not found':>9s}")
    for kind, c in sorted(kinds.items(), key=lambda kv: kv[0] != 'right'):
        print(f"{kind:24s} {c['right']:6d} {c['slip']:6d} {c['unsure']:6d} {c['not found']:9d}")


def weigh(found, odds, b, margin):
    """The outcome over one stretch, as src/practice/mark.rs has it."""
    o = lambda k: odds.get(str(k), -3.0)
    before = found['before']
    wanted, struck = set(found['wanted']), set(found['struck'])
    there = b['there'] + margin
    doubt = slip = False
    alone = []
    missing = [k for k in wanted if o(k) < b['missing'] - margin]
    for k in wanted:
        if o(k) < b['missing'] - margin: slip = True
        elif o(k) <= there: doubt = True
    sounding = [int(k) for k, v in odds.items() if v > there]
    for k in map(int, odds):
        if k in wanted: continue
        hit = k in struck
        if not hit and before.get(str(k), -3.0) > there: continue
        stands_for = any(abs(k - m) <= 2 or (k - m) % 12 == 0 for m in missing)
        if any(k - up in sounding for up in RINGING) and not stands_for:
            extra, doubted = (b['ghost'], b['ghost_doubted'] - margin / 2) if hit else (max(b['ghost'], b['extra_unstruck']), 99)
        else:
            extra, doubted = (b['extra'], b['doubted'] - margin) if hit else (b['extra_unstruck'], 99)
        if o(k) > extra + margin: alone.append(o(k))
        elif o(k) > doubted: doubt = True
    if alone and (missing or max(alone) >= b['extra_alone'] + margin): slip = True
    return 'slip' if slip else 'unsure' if doubt or alone else 'right'


def outcome(found, b):
    if not found or not found['heard']: return 'unsure'
    for h in found['heard']:
        what = weigh(found, h['log_odds'], b, b['early_margin'] if h['after'] < b['plain_after'] - 1e-6 else 0.0)
        if what == 'right' or what == 'slip' and h['after'] >= b['slip_after'] - 1e-6: break
    else:
        what = weigh(found, found['heard'][-1]['log_odds'], b, 0.0)
    if what == 'slip' and 'mended' in found and weigh(found, found['mended']['log_odds'], b, 0.0) == 'right': what = 'right'
    return what


def cost(cases, b):
    total = 0
    for right, found in cases:
        what = outcome(found, b)
        total += (20 if what == 'slip' else 3 if what == 'unsure' else 0) if right else (5 if what == 'right' else 1 if what == 'unsure' else 0)
    return total


def fit(clips, told):
    cases = [[(t['right'], f) for i, c in enumerate(clips) if i % 2 == part for t, f in pairs(c, told[c['file']])] for part in (0, 1)]
    b = dict(BOUNDS)
    best = cost(cases[0], b)
    print('before', best, cost(cases[1], b))
    for _ in range(4):
        last = best
        for name, values in GRID.items():
            for v in values:
                new = {**b, name: v}
                if new['missing'] > new['there'] or new['doubted'] > new['extra'] or new['ghost_doubted'] > new['ghost']: continue
                c = cost(cases[0], new)
                if c < best: best, b = c, new
        print(best, b)
        if best == last: break
    for part, name in ((0, 'set on'), (1, 'left out')):
        c = Counter((right, outcome(found, b)) for right, found in cases[part])
        print(name, {f"{'right' if r else 'slip'} -> {o}": n for (r, o), n in sorted(c.items())}, 'cost', cost(cases[part], b))


def main():
    words = [a for a in sys.argv[1:] if not a.startswith('--')]
    if len(words) < 2: sys.exit(__doc__)
    corpus, folder = words[:2]
    lidprop = sys.argv[sys.argv.index('--lidprop') + 1] if '--lidprop' in sys.argv else 'target/release/lidprop'
    os.makedirs(folder, exist_ok=True)
    clips = [c for c in json.load(open(os.path.join(corpus, 'truth.json')))['clips'] if c['kind'] == 'drill']
    with ThreadPoolExecutor(2) as pool:
        told = dict(zip((c['file'] for c in clips), pool.map(lambda c: read(corpus, c, folder, lidprop), clips)))
    fit(clips, told) if '--fit' in sys.argv else score(clips, told)


if __name__ == '__main__':
    main()
