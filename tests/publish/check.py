"""What lidprop writes, read back by readers that know nothing of it.

  python3 tests/publish/check.py --lidprop FILE --into DIR RECORDING...

Writes every format of the recordings into DIR and reads it: MIDI by mido and pretty_midi, MusicXML by the published schema and by music21 (root, kind, degrees and bass of every
chord quality on twelve roots), and engraved by verovio; WebVTT and SubRip by two readers; CSV as a spreadsheet guesses its types (pandas). Prints one line a check; exits 1 at
the first that fails. Engravings lie beside the files, for tests/publish/notation.mjs to take pictures of.
"""
import argparse
import contextlib
import importlib.util
import io
import json
import os
import pathlib
import re
import subprocess
import sys
import warnings
import wave
import xml.etree.ElementTree as ET

import mido
import numpy
import pandas
import pretty_midi
import srt
import verovio
import webvtt
import xmlschema

# It tells at length which of its parts, none used here, want other packages.
with contextlib.redirect_stderr(io.StringIO()):
    import music21

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
STUB = '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{}">{}</xs:schema>'
HALF_STEPS = {'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}
MAJOR = [0, 2, 4, 5, 7, 9, 11]


def schema(into):
    """The published schema, of which the wheel holds all but two parts that are of no account here."""
    source = pathlib.Path(importlib.util.find_spec('musicxml').origin).parent / 'generate_classes' / 'musicxml_4_0.xsd'
    text = source.read_text().replace('http://www.musicxml.org/xsd/', '')
    folder = into / 'schema'
    folder.mkdir(exist_ok=True)
    (folder / 'musicxml_4_0.xsd').write_text(text)
    xml = ''.join(f'<xs:attribute name="{n}" type="xs:{t}"/>' for n, t in [('lang', 'language'), ('space', 'NCName')])
    (folder / 'xml.xsd').write_text(STUB.format('http://www.w3.org/XML/1998/namespace', xml))
    names = [('href', 'anyURI')] + [(n, 'string') for n in ('type', 'role', 'title', 'show', 'actuate')]
    xlink = ''.join(f'<xs:attribute name="{n}" type="xs:{t}"/>' for n, t in names)
    (folder / 'xlink.xsd').write_text(STUB.format('http://www.w3.org/1999/xlink', xlink))
    return xmlschema.XMLSchema(str(folder / 'musicxml_4_0.xsd'))


def run(lidprop, *arguments):
    return subprocess.run([lidprop, *map(str, arguments)], check=True, capture_output=True).stdout


def told(what, count, unit):
    assert count > 0, f'{what}: nothing was checked'
    print(f'{what}: {count} {unit}')


def midi(path, document):
    """Notes where the document has them, markers that name its chords."""
    notes = document['notes']
    read = pretty_midi.PrettyMIDI(str(path))
    found = sorted((n.start, n.pitch) for i in read.instruments for n in i.notes)
    wanted = sorted((n['start'], n['midi']) for n in notes)
    assert len(found) == len(wanted), (path, len(found), len(wanted))
    for (at, key), (start, midi) in zip(sorted(found, key=lambda n: (n[1], n[0])), sorted(wanted, key=lambda n: (n[1], n[0]))):
        assert key == midi and abs(at - start) < 0.002, (path, at, key, start, midi)
    with warnings.catch_warnings():
        warnings.simplefilter('error')
        tracks = mido.MidiFile(path).tracks
    for track in tracks:
        assert track[-1].type == 'end_of_track', path
    markers = [m.text for t in tracks for m in t if m.type == 'marker']
    assert all(m.isascii() for m in markers), markers
    places = document.get('harmony') or [c for c in document['chords'] if c['verdict'] != 'no-good-name']
    chords = [(place['names'][0]['ascii'], place['start']) for place in places if place['names']]
    named = [(text, at) for text, at in timed_markers(path) if not text.endswith((' major', ' minor'))]
    assert [name for name, _ in named] == [name for name, _ in chords], (path, named, chords)
    # Where beats are known a tick is a share of a beat, else a millisecond.
    assert all(abs(at - start) < 0.005 for (_, at), (_, start) in zip(named, chords)), (path, named, chords)
    velocities = {m.velocity for t in tracks for m in t if m.type == 'note_on'}
    assert all(1 <= v <= 127 for v in velocities)
    return len(found)


def timed_markers(path):
    """Markers with their seconds, by the tempo map of the file."""
    at, markers = 0.0, []
    for message in mido.MidiFile(path):
        at += message.time
        if message.type == 'marker':
            markers.append((message.text, at))
    return markers


def engraved(path):
    """Notes and chord symbols as verovio draws them: as many as are written. Where they are drawn is for eyes."""
    toolkit = verovio.toolkit()
    toolkit.setOptions({'adjustPageHeight': True, 'header': 'none', 'footer': 'none', 'scale': 50, 'svgViewBox': True})
    assert toolkit.loadFile(str(path)), path
    pages = [toolkit.renderToSVG(page + 1) for page in range(toolkit.getPageCount())]
    root = ET.parse(path).getroot()
    drawn = sum(len(re.findall(r'class="note[" ]', page)) for page in pages)
    written = sum(note.find('rest') is None for note in root.iter('note'))
    assert drawn == written, (path, drawn, written)
    symbols = [symbol for page in pages for symbol in re.findall(r'<g [^>]*class="harm[" ].*?</text>', page, re.S)]
    assert len(symbols) == len(list(root.iter('harmony'))), (path, len(symbols))
    for symbol, harmony in zip(symbols, root.iter('harmony')):
        text = ''.join(re.findall(r'<tspan[^>]*>([^<]*)</tspan>', symbol)).strip()
        assert text.startswith(harmony.findtext('root/root-step')), (path, text)
    for page, svg in enumerate(pages):
        path.with_name(f'{path.stem}-verovio-{page + 1}.svg').write_text(svg)
    return len(symbols)


def measures_add_up(path):
    """Every voice of a measure lasts as long as the measure: the schema does not see that."""
    count = 0
    for part in ET.parse(path).getroot().findall('part'):
        for measure in part.findall('measure'):
            at, ends = 0, set()
            for element in measure:
                duration = int(element.findtext('duration', '0'))
                if element.tag == 'backup':
                    ends.add(at)
                    at -= duration
                elif element.tag == 'forward' or (element.tag == 'note' and element.find('chord') is None):
                    at += duration
            ends.add(at)
            assert len(ends) == 1, (path, measure.get('number'), ends)
            count += 1
    return count


def qualities():
    """Symbol bodies and degrees, as the one table of the source has them."""
    table = (ROOT / 'src/harmony/chord/quality.rs').read_text()
    rows = re.findall(r'^    row\("([^"]*)",\s+"([^"]*)"', table, re.M)
    assert len(rows) >= 80, len(rows)
    return rows


def half_steps(degree):
    number = int(re.sub('[b#]', '', degree))
    return (MAJOR[(number - 1) % 7] + degree.count('#') - degree.count('b')) % 12


# Kinds by the standard, as half steps by number; a kind of the thirteenth holds an eleventh.
KINDS = {
    'major': '1 3 5', 'minor': '1 b3 5', 'augmented': '1 3 #5', 'diminished': '1 b3 b5', 'dominant': '1 3 5 b7', 'major-seventh': '1 3 5 7', 'minor-seventh': '1 b3 5 b7',
    'diminished-seventh': '1 b3 b5 bb7', 'augmented-seventh': '1 3 #5 b7', 'half-diminished': '1 b3 b5 b7', 'major-minor': '1 b3 5 7', 'major-sixth': '1 3 5 6',
    'minor-sixth': '1 b3 5 6', 'dominant-ninth': '1 3 5 b7 9', 'major-ninth': '1 3 5 7 9', 'minor-ninth': '1 b3 5 b7 9', 'minor-11th': '1 b3 5 b7 9 11',
    'dominant-11th': '1 3 5 b7 9 11', 'major-11th': '1 3 5 7 9 11', 'dominant-13th': '1 3 5 b7 9 11 13', 'major-13th': '1 3 5 7 9 11 13', 'minor-13th': '1 b3 5 b7 9 11 13',
    'suspended-second': '1 2 5', 'suspended-fourth': '1 4 5', 'power': '1 5',
}


def sounding(kind, modifications):
    """Half steps above the root, by the rules of the standard: what is added is counted from a dominant chord."""
    by_number = {}
    for degree in KINDS[kind].split():
        by_number.setdefault(int(re.sub('[b#]', '', degree)), []).append(half_steps(degree))
    for kind_of_change, number, alter in modifications:
        if kind_of_change == 'add':
            plain = half_steps('b7') if number == 7 else MAJOR[(number - 1) % 7]
            by_number.setdefault(number, []).append((plain + alter) % 12)
        elif kind_of_change == 'alter':
            by_number[number] = [(by_number[number][0] + alter) % 12]
        else:
            del by_number[number]
    return {h for steps in by_number.values() for h in steps}


def every_chord(lidprop, into, published):
    """Root, kind, degrees and bass of each quality on twelve roots, as music21 reads them."""
    checked = 0
    for body, degrees in qualities():
        for bass in (None, 'E'):
            path = into / 'quality.musicxml'
            symbol = 'C' + body + (f'/{bass}' if bass else '')
            path.write_bytes(run(lidprop, 'name', symbol, '--in-all-keys', '--write', 'musicxml'))
            assert published.is_valid(str(path)), (symbol, list(published.iter_errors(str(path)))[:1])
            symbols = list(music21.converter.parse(path).recurse().getElementsByClass('ChordSymbol'))
            assert len(symbols) == 12, (symbol, len(symbols))
            roots = set()
            for element, read in zip(ET.parse(path).getroot().iter('harmony'), symbols):
                kind = element.findtext('kind')
                steps = [(m.modType, m.degree, int(m.interval.semitones) if m.interval else 0) for m in read.chordStepModifications]
                written = [(d.findtext('degree-type'), int(d.findtext('degree-value')), int(d.findtext('degree-alter'))) for d in element.findall('degree')]
                assert sorted(steps) == sorted(written), (symbol, steps, written)
                root = element.findtext('root/root-step') + {-1: '-', 1: '#', 0: ''}[int(element.findtext('root/root-alter', '0'))]
                assert read.root().name == root, (symbol, read.root().name, root)
                assert music21.harmony.CHORD_TYPES.keys() >= {read.chordKind} or read.chordKind == kind, (symbol, read.chordKind, kind)
                wanted = {half_steps(d) for d in degrees.split()}
                said = sounding(kind, written)
                # What a kind of the thirteenth holds besides is left to the player.
                spare = {half_steps('9'), half_steps('11')} if kind.endswith('13th') else set()
                assert wanted <= said and said - wanted <= spare, (symbol, kind, written, wanted, said)
                if bass:
                    up = (read.bass().pitchClass - read.root().pitchClass) % 12
                    assert up == 4, (symbol, read.bass().name, read.root().name)
                roots.add(read.root().pitchClass)
                checked += 1
            assert len(roots) == 12, symbol
    return checked


def stand_ins(lidprop, into, published):
    """Scores of a progression beside its stand-ins: valid, in step, with as many parts as versions; the MIDI file has each version under its name."""
    chart = into / 'chart.txt'
    chart.write_text('key: Eb\nmetre: 6/8\n| Fm7 | Bb7 / / / / Ebmaj7 |\nmetre: 3/4\n| Cm7 | F7 |\n')
    melody = ['--melody', 'A4=4 | F5=3 rest | E5=4']
    questions = [(['Dm7 | G7 | Cmaj7', '--budget', '5', *melody], 3), (['Dm7 | G7 | Cmaj7', '--for', '2', *melody], 7), (['--chart', chart], 2)]
    measures = 0
    for question, parts in questions:
        path = into / 'standins.musicxml'
        path.write_bytes(run(lidprop, 'standin', *question, '--write', 'musicxml'))
        errors = list(published.iter_errors(str(path)))
        assert not errors, (question, errors[:1])
        assert len(music21.converter.parse(path).parts) >= parts, question
        assert len(ET.parse(path).getroot().findall('part')) == parts, question
        measures += measures_add_up(path)
        path = into / 'standins.mid'
        path.write_bytes(run(lidprop, 'standin', *question, '--write', 'midi'))
        markers = [m.text for t in mido.MidiFile(path).tracks for m in t if m.type == 'marker']
        assert markers[0] == 'original' and any('instead' in m for m in markers), markers
    return measures


def captions(vtt, subrip, chords):
    cues = webvtt.read(str(vtt))
    lines = list(srt.parse(subrip.read_text()))
    assert len(cues) == len(lines) > 0, (vtt, len(cues), len(lines))
    for cue, line in zip(cues, lines):
        assert len(cue.text.splitlines()) <= 2 and cue.text.strip(), cue
        assert abs(cue.start_in_seconds - line.start.total_seconds()) < 1.01
        assert line.end > line.start and line.content.strip(), line
    for one, next_one in zip(lines, lines[1:]):
        assert one.end <= next_one.start, (one, next_one)
    assert len(cues) <= chords
    return len(cues)


def table(path, chords):
    """The rows as a spreadsheet takes them in, that guesses numbers and empty cells."""
    rows = pandas.read_csv(path)
    assert len(rows) == chords, (path, len(rows), chords)
    guessed = {column: str(rows[column].dtype) for column in rows}
    numbers = {column for column, kind in guessed.items() if kind == 'float64' and not rows[column].isna().all()}
    assert numbers == {'start', 'end', 'score'}, (path, guessed)
    assert (rows['start'] < rows['end']).all() and rows['start'].is_monotonic_increasing, path
    assert rows['notes'].notna().all(), path
    for column in set(rows.columns) - numbers:
        # A spreadsheet runs what begins so.
        assert not rows[column].dropna().astype(str).str.startswith(('=', '+', '-', '@')).any(), (path, column)
    return len(rows)


def long_recording(path):
    """More chords than a page draws at once: II V I in all keys over and over, a second for each chord, of partials that die away as those of strings do."""
    rate = 22050
    t = numpy.arange(rate) / rate
    sound = []
    for nth in range(80):
        tonic = 48 + 5 * nth % 12
        for voicing in [(2, 12, 17, 21), (-5, 11, 17, 21), (0, 11, 16, 19)]:
            tone = numpy.zeros(rate)
            for key in voicing:
                pitch = 440 * 2 ** ((tonic + key - 69) / 12)
                for partial in range(1, 13):
                    hertz = partial * pitch * (1 + 4e-4 * partial ** 2) ** 0.5
                    if hertz < rate / 2:
                        tone += numpy.sin(2 * numpy.pi * hertz * t) * numpy.exp(-t * (1.5 + 0.5 * partial)) / partial ** 1.3
            damped = numpy.minimum(1, (1 - t) / 0.05)
            sound.append(tone * damped * numpy.minimum(1, t / 0.003))
    with wave.open(str(path), 'wb') as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        samples = numpy.concatenate(sound)
        out.writeframes((samples * 20000 / abs(samples).max()).astype('<i2').tobytes())
    return path


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument('--lidprop', required=True)
    parser.add_argument('--into', required=True, type=pathlib.Path)
    parser.add_argument('recordings', nargs='+')
    arguments = parser.parse_args()
    lidprop, into = os.path.abspath(arguments.lidprop), arguments.into
    into.mkdir(parents=True, exist_ok=True)
    published = schema(into)
    checked = {}

    def count(what, number):
        checked[what] = checked.get(what, 0) + number

    for write in ['json', 'jsonl', 'midi', 'captions', 'subrip', 'csv', 'page']:
        run(lidprop, 'take', '--force', '--write', write, '--into', into, *arguments.recordings)
    for recording in arguments.recordings:
        base = into / pathlib.Path(recording).stem
        document = json.loads(base.with_suffix('.json').read_text())
        assert json.loads(base.with_suffix('.jsonl').read_text()) == document
        count('MIDI by mido and pretty_midi, notes', midi(base.with_suffix('.mid'), document))
        chords = len(document.get('harmony') or document['chords'])
        count('captions by webvtt-py and srt, cues', captions(base.with_suffix('.vtt'), base.with_suffix('.srt'), chords))
        count('CSV, rows', table(base.with_suffix('.csv'), chords))
        for what in ['harmony', 'voicings', 'notes']:
            path = base.with_name(f'{base.name}-{what}.musicxml')
            path.write_bytes(run(lidprop, 'take', '--write', 'musicxml', '--what', what, recording))
            errors = list(published.iter_errors(str(path)))
            assert not errors, (path, errors[:1])
            symbols = engraved(path)
            count('MusicXML by verovio, chord symbols', symbols)
            count('MusicXML by its schema, measures that add up', measures_add_up(path))
            count('MusicXML by music21, notes', len(list(music21.converter.parse(path).recurse().notes)))
    for name, typed in [('sheet', 'Ddim(maj7)'), ('progression', '| Dm7 | G13b9 | Cmaj7 |')]:
        path = into / f'{name}.musicxml'
        path.write_bytes(run(lidprop, 'name', typed, '--in-all-keys', '--write', 'musicxml'))
        count('MusicXML by verovio, chord symbols', engraved(path))
        midi_path = into / f'{name}.mid'
        midi_path.write_bytes(run(lidprop, 'name', typed, '--in-all-keys', '--write', 'midi'))
        keys = {marker for marker, _ in timed_markers(midi_path)}
        assert len(keys) == 12 * max(1, typed.count('|') - 1), (typed, keys)
        count('MIDI in twelve keys by mido and pretty_midi, notes', sum(len(i.notes) for i in pretty_midi.PrettyMIDI(str(midi_path)).instruments))
    count('qualities and basses on twelve roots by music21, chords', every_chord(lidprop, into, published))
    count('stand-ins by the schema and music21, measures that add up', stand_ins(lidprop, into, published))
    (into / 'long.html').write_bytes(run(lidprop, 'take', '--write', 'page', long_recording(into / 'long.wav')))
    for what, number in checked.items():
        told(what.split(',')[0], number, what.split(', ')[1])


if __name__ == '__main__':
    try:
        main()
    except subprocess.CalledProcessError as failed:
        sys.exit(f'{failed}\n{failed.stderr.decode()}')
