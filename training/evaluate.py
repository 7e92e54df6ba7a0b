"""Reads labelled corpora with lidprop, scores what it heard, and holds the figures against the baseline that the project keeps.

  python3 training/evaluate.py --lidprop FILE --into DIR [--scorer FILE] [--raise] [--must-exist] CORPUS...

CORPUS holds truth.json and the recordings it names. One that is not there is skipped, loudly; with --must-exist that is an error. The
scoring program is --scorer, or eval/score.py beside the corpus, or ../shared/eval/score.py. Result documents go to DIR, in a folder a corpus.

The baseline (baseline.tsv beside this file) has a line a figure: corpus (the name of its folder), row and measure of the scoring table, and
the value that must not get worse. Figures are compared as they are printed, with three digits: one is worse if it differs by more than half of the
last one. Measures of WORSE_IF_HIGHER must not rise, all others must not fall. Exit 1 if a figure is worse or not there any more, or if
a recording was lost (no result document); whatever has become better is listed, and --raise writes it to the baseline, to be committed with
what brought it. A figure is lowered by hand alone, with the reason in the commit.
"""
import argparse, json, os, subprocess, sys, time

HERE = os.path.dirname(os.path.abspath(__file__))
BASELINE = os.path.join(HERE, 'baseline.tsv')
# Errors, where the others are shares of what is right.
WORSE_IF_HIGHER = {'false_wrong', 'false_time', 'velocity'}
# The scoring table prints three digits: half of the last one, and what the binary fractions add.
TOLERANCE = 0.0005 + 1e-9


def read_baseline():
    """[(corpus, row, measure, value as written)] in the order of the file."""
    figures = []
    with open(BASELINE) as h:
        for number, line in enumerate(h, 1):
            if line.startswith('#') or not line.strip():
                continue
            parts = line.rstrip('\n').split('\t')
            if len(parts) != 4:
                sys.exit(f'{BASELINE}, line {number}: {len(parts)} columns where corpus, row, measure and value belong, with tabs between')
            figures.append((*parts[:3], float(parts[3])))
    return figures


def compare(corpus, table, baseline):
    """Lines on what is worse and what is better than the baseline, and {(row, measure): value} of the better ones."""
    worse, better, raised = [], [], {}
    for name, row, measure, kept in baseline:
        if name != corpus:
            continue
        found = table.get(row, {}).get(measure)
        what = f'{corpus}: {row}, {measure}'
        if found is None:
            worse.append(f'{what}: was {kept:.3f}, is not there any more')
            continue
        gain = (kept - found) if measure in WORSE_IF_HIGHER else (found - kept)
        if gain < -TOLERANCE:
            worse.append(f'{what}: was {kept:.3f}, is {found:.3f}')
        elif gain > TOLERANCE:
            better.append(f'{what}: was {kept:.3f}, is {found:.3f}')
            raised[row, measure] = found
    return worse, better, raised


def write_raised(raised):
    """Writes the better figures in their lines; all else stays as it is."""
    with open(BASELINE) as h:
        lines = h.read().splitlines()
    for i, line in enumerate(lines):
        parts = line.split('\t')
        value = raised.get(tuple(parts[:3])) if len(parts) == 4 else None
        if value is not None:
            lines[i] = '\t'.join([*parts[:3], f'{value:.3f}'])
    with open(BASELINE, 'w') as h:
        h.write('\n'.join(lines) + '\n')


def scorer_for(corpus, given):
    beside = os.path.join(corpus, '..', 'eval', 'score.py')
    shared = os.path.join(HERE, '..', '..', 'shared', 'eval', 'score.py')
    return next((f for f in [given, beside, shared] if f and os.path.isfile(f)), None)


def stem(clip):
    return os.path.splitext(os.path.basename(clip['file']))[0]


def evaluate(corpus, scorer, lidprop, into):
    """Reads and scores one corpus; gives the table and the names of the recordings that were lost."""
    with open(os.path.join(corpus, 'truth.json')) as h:
        clips = json.load(h)['clips']
    os.makedirs(into, exist_ok=True)
    for file in os.listdir(into):
        if file.endswith('.json'):
            os.remove(os.path.join(into, file))
    begun = time.time()
    subprocess.run([lidprop, 'take', '--write', 'json', '--into', into, *(os.path.join(corpus, c['file']) for c in clips)])
    took = time.time() - begun
    sound = sum(c['seconds'] for c in clips)
    print(f'{len(clips)} recordings, {sound / 60:.1f} minutes of sound, read in {took:.1f} s', flush=True)
    subprocess.run([sys.executable, scorer, corpus, into], check=True)
    subprocess.run([sys.executable, os.path.join(HERE, 'reliability.py'), corpus, into], check=True)
    table = json.loads(subprocess.run([sys.executable, scorer, corpus, into, '--json'], check=True, capture_output=True, text=True).stdout)
    return table, [c['file'] for c in clips if not os.path.isfile(os.path.join(into, stem(c) + '.json'))]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument('--lidprop', required=True)
    parser.add_argument('--into', required=True)
    parser.add_argument('--scorer')
    parser.add_argument('--raise', dest='raise_it', action='store_true')
    parser.add_argument('--must-exist', action='store_true')
    parser.add_argument('corpora', nargs='+', metavar='CORPUS')
    options = parser.parse_args()
    baseline = read_baseline()
    worse, better, raised, skipped = [], [], {}, []
    for corpus in options.corpora:
        name = os.path.basename(os.path.abspath(corpus))
        scorer = scorer_for(corpus, options.scorer)
        missing = None
        if not os.path.isfile(os.path.join(corpus, 'truth.json')):
            missing = f"no truth.json in '{corpus}'; say where it is: make eval CORPUS=DIR"
        elif scorer is None:
            missing = f"no scoring program beside '{corpus}'; say where it is: make eval SCORER=FILE"
        if missing:
            if options.must_exist:
                sys.exit(f'make eval: {missing}')
            skipped.append(f'SKIPPED: eval of {name}, {missing}')
            print(f'\n{skipped[-1]}', flush=True)
            continue
        print(f'\n== {name}', flush=True)
        table, lost = evaluate(corpus, scorer, options.lidprop, os.path.join(options.into, name))
        worse += [f'{name}: {file} is lost, nothing was written for it' for file in lost]
        if not any(figure[0] == name for figure in baseline):
            print(f'{name} has no lines in {os.path.basename(BASELINE)}: scored and compared with nothing')
        fell, rose, new = compare(name, table, baseline)
        worse += fell
        better += rose
        raised.update({(name, *figure): value for figure, value in new.items()})
    print('\n== beside the baseline')
    for line in skipped:
        print(line)
    for line in better:
        print(f'better  {line}')
    if better and options.raise_it:
        write_raised(raised)
        print(f'{len(better)} figures raised in {BASELINE}; commit them with what brought them')
    elif better:
        print('raise these in the commit that brought them: make eval RAISE=1')
    for line in worse:
        print(f'WORSE   {line}')
    if not worse and not better and len(skipped) < len(options.corpora):
        print('every figure is as it was')
    if worse:
        sys.exit(f'make eval: {len(worse)} figures are worse than {os.path.relpath(BASELINE)} says, or recordings were lost')


if __name__ == '__main__':
    main()
