//! Spans of held keys: the fast search agrees with a slow one that forgets nothing, and neither random nor real evidence breaks it.
//!
//! The slow twin is written from the definition in the header of the module: sums in double precision, every border of the last
//! two seconds kept open, a segmentation found by trying them all. Real evidence is what the network hears in recordings.

use lidprop::listener::{Event, ListenerOptions};
use lidprop::notes::NoteEvidence;
use lidprop::notes::held::{HeldSet, SpanFinder, SpanRules};
use lidprop::session::recording::events_of;
use lidprop::units::{HopIndex, HopSpan, MidiNote, PIANO_KEYS, SamplePos, SampleRate};
use std::path::{Path, PathBuf};

mod support;

/// Frames a second.
const RATE: f64 = 22_050.0 / 512.0;

struct Frame {
    evidence: NoteEvidence,
    strength: [f32; PIANO_KEYS],
}

/// A border of the slow twin: sums of evidence since it.
struct Start {
    frame: u64,
    cost: f64,
    since: Option<u64>,
    for_key: Vec<f64>,
    against: Vec<f64>,
}

/// The segmentation without pruning. Only the borders are found; what keys they hold is not its business.
struct SlowTwin {
    rules: SpanRules,
    starts: Vec<Start>,
    frame: u64,
    struck: Vec<f64>,
    best: u64,
}

impl SlowTwin {
    fn new(rules: SpanRules) -> Self {
        let mut twin = Self {
            rules,
            starts: Vec::new(),
            frame: 0,
            struck: Vec::new(),
            best: 0,
        };
        twin.open(0.0, None);
        twin
    }

    fn open(&mut self, cost: f64, since: Option<u64>) {
        self.starts.push(Start {
            frame: self.frame,
            cost,
            since,
            for_key: vec![0.0; PIANO_KEYS],
            against: vec![0.0; PIANO_KEYS],
        });
    }

    fn weight(key: usize) -> f64 {
        let midi = f64::from(MidiNote::from_piano_index(key).get());
        (1.0 - (midi - 64.0) / 20.0).clamp(0.35, 1.0)
    }

    fn step(&mut self, evidence: &NoteEvidence, ended: &mut Vec<(u64, u64)>) {
        let most = f64::from(self.rules.most_a_frame);
        for start in &mut self.starts {
            for key in 0..PIANO_KEYS {
                let p = f64::from(evidence.sounding[key]).clamp(1e-6, 1.0 - 1e-6);
                let odds = ((p / (1.0 - p)).ln()).clamp(-most, most);
                // the fast search counts in such parts
                let odds = (odds * 1024.0).round() / 1024.0;
                start.for_key[key] += odds.max(0.0);
                start.against[key] += (-odds).max(0.0);
            }
        }
        self.frame += 1;
        self.struck.push(
            evidence
                .onset
                .iter()
                .filter(|&&p| p > 0.2)
                .map(|&p| f64::from(p))
                .sum(),
        );
        let struck = self
            .struck
            .iter()
            .rev()
            .take(3)
            .fold(0.0_f64, |a, &b| a.max(b));
        let mut least = f64::INFINITY;
        for start in &self.starts {
            let moving = f64::from(self.rules.moving) * (self.frame - start.frame) as f64;
            let span: f64 = (0..PIANO_KEYS)
                .map(|key| {
                    start.for_key[key].min(start.against[key]).min(moving) * Self::weight(key)
                })
                .sum();
            if start.cost + span < least - 1e-9 {
                (least, self.best) = (start.cost + span, start.frame);
            }
        }
        let relief = f64::from(self.rules.struck_relief) * (struck / 3.0).min(1.0);
        self.open(
            least + f64::from(self.rules.new_span) * (1.0 - relief),
            Some(self.best),
        );
        self.close(self.frame.saturating_sub(self.rules.lag.get()), ended);
    }

    fn since(&self, frame: u64) -> Option<u64> {
        self.starts
            .iter()
            .find(|start| start.frame == frame)
            .unwrap()
            .since
    }

    fn close(&mut self, until: u64, ended: &mut Vec<(u64, u64)>) {
        let mut path = vec![self.best];
        while let Some(since) = self.since(*path.last().unwrap()) {
            path.push(since);
        }
        path.reverse();
        let last = path.iter().rposition(|&frame| frame <= until).unwrap_or(0);
        ended.extend(path[..=last].windows(2).map(|ends| (ends[0], ends[1])));
        let last = path[last];
        let mut kept = vec![last];
        self.starts.retain(|start| {
            let keeps = start.frame == last
                || start.frame >= until && start.since.is_some_and(|since| kept.contains(&since));
            kept.extend(keeps.then_some(start.frame));
            keeps
        });
        self.starts[0].since = None;
    }

    fn finish(mut self, ended: &mut Vec<(u64, u64)>) {
        let (frame, best) = (self.frame, self.best);
        self.close(frame, ended);
        ended.push((best, frame));
    }
}

fn spans(frames: &[Frame]) -> Vec<HeldSet> {
    let (mut finder, mut closed) = (SpanFinder::new(SpanRules::default()), Vec::new());
    for frame in frames {
        finder.step(&frame.evidence, &frame.strength, &mut closed);
    }
    finder.finish(&mut closed);
    closed
}

fn assert_agrees_with_the_slow_twin(frames: &[Frame], what: &str) {
    let fast: Vec<_> = spans(frames)
        .iter()
        .map(|span| (span.start.get(), span.end.get()))
        .collect();
    let (mut twin, mut slow) = (SlowTwin::new(SpanRules::default()), Vec::new());
    for frame in frames {
        twin.step(&frame.evidence, &mut slow);
    }
    twin.finish(&mut slow);
    assert_eq!(fast, slow, "{what}");
}

/// Spans follow one another without a gap from the first frame to the last, and each is in order.
fn assert_sound(spans: &[HeldSet], frames: u64, what: &str) {
    assert_eq!(
        spans.first().map(|span| span.start),
        Some(HopIndex::START),
        "{what}"
    );
    assert_eq!(
        spans.last().map(|span| span.end),
        Some(HopIndex::new(frames)),
        "{what}"
    );
    for pair in spans.windows(2) {
        assert_eq!(pair[0].end, pair[1].start, "{what}");
        assert!(pair[0].start < pair[0].end, "{what}");
    }
}

/// Evidence as a player could give it or nobody could: chords held, broken, with runs above, trills, noise, silence, all at random.
fn random_playing(random: &mut fastrand::Rng, frames: usize) -> Vec<Frame> {
    let mut playing = Vec::with_capacity(frames);
    while playing.len() < frames {
        let length = random.usize(3..200);
        let manner = random.u8(0..6);
        let keys: Vec<usize> = (0..random.usize(1..9))
            .map(|_| random.usize(10..70))
            .collect();
        let doubt = random.f32() * 2.5;
        for at in 0..length.min(frames - playing.len()) {
            let mut odds = [-4.0_f32; PIANO_KEYS];
            let mut struck = [0.0; PIANO_KEYS];
            match manner {
                0 => {}
                1 => keys.iter().for_each(|&key| odds[key] = 4.0),
                2 => odds[keys[at / 9 % keys.len()]] = 4.0,
                3 => {
                    keys.iter().for_each(|&key| odds[key] = 3.0);
                    odds[72 + at / 5 % 12] = 3.0;
                }
                4 => odds
                    .iter_mut()
                    .for_each(|odds| *odds = random.f32() * 8.0 - 4.0),
                _ => keys
                    .iter()
                    .skip(at / 30 % 2)
                    .for_each(|&key| odds[key] = 2.0),
            }
            if at == 0 && manner != 4 {
                keys.iter().for_each(|&key| struck[key] = 0.9);
            }
            let sounding = odds.map(|odds| {
                let odds = odds + doubt * (random.f32() - 0.5);
                1.0 / (1.0 + (-odds).exp())
            });
            playing.push(Frame {
                evidence: NoteEvidence {
                    sounding,
                    onset: struck,
                    pedal: None,
                },
                strength: [0.5; PIANO_KEYS],
            });
        }
    }
    playing
}

#[test]
fn the_fast_search_finds_the_spans_of_the_slow_one_in_random_playing() {
    for seed in 0..8 {
        let playing = random_playing(&mut fastrand::Rng::with_seed(seed), 1_500);
        assert_agrees_with_the_slow_twin(&playing, &format!("seed {seed}"));
    }
}

#[test]
fn three_hours_of_random_playing_neither_break_it_nor_grow_a_span_without_end() {
    const HOUR: usize = (3_600.0 * RATE) as usize;
    let mut random = fastrand::Rng::with_seed(88);
    let (mut finder, mut closed) = (SpanFinder::new(SpanRules::default()), Vec::new());
    let mut played = 0;
    while played < 3 * HOUR {
        let playing = random_playing(&mut random, 5_000);
        for frame in &playing {
            finder.step(&frame.evidence, &frame.strength, &mut closed);
        }
        played += playing.len();
    }
    finder.finish(&mut closed);
    assert_sound(&closed, played as u64, "three hours of random playing");
    // what is random changes at least every 200 frames; a run of single notes may join the next
    let longest = closed
        .iter()
        .map(|span| (span.end - span.start).get())
        .max()
        .unwrap();
    assert!(longest < 2_500, "a span of {longest} frames");
}

#[test]
fn a_broken_chord_a_bar_gives_a_span_a_bar_however_long_it_goes_on() {
    let bars: [[usize; 4]; 4] = [
        [27, 43, 46, 51],
        [27, 44, 48, 53],
        [26, 38, 44, 53],
        [27, 43, 46, 51],
    ];
    let mut playing = Vec::new();
    for bar in 0..120 {
        let chord = bars[bar % 4];
        // eight notes a bar of two seconds, each ringing for three of them
        for note in 0..8 {
            for at in 0..11 {
                let mut evidence = NoteEvidence {
                    sounding: [0.02; PIANO_KEYS],
                    ..NoteEvidence::default()
                };
                for ringing in 0..=note.min(2) {
                    evidence.sounding[chord[(note - ringing) % 4]] = 0.95;
                }
                evidence.sounding[chord[0]] = 0.95;
                if at == 0 {
                    evidence.onset[chord[note % 4]] = 0.9;
                }
                playing.push(Frame {
                    evidence,
                    strength: [0.5; PIANO_KEYS],
                });
            }
        }
    }
    let spans = spans(&playing);
    let (mut right, bar_frames) = (0, 88);
    for bar in 0..120_u64 {
        let (start, end) = (bar * bar_frames, (bar + 1) * bar_frames);
        let halfway = HopIndex::new((start + end) / 2);
        let middle = spans
            .iter()
            .find(|span| span.start <= halfway && halfway < span.end);
        let keys: Vec<_> = middle
            .unwrap()
            .keys
            .iter()
            .map(|held| held.key.index())
            .collect();
        let chord = bars[(bar % 4) as usize];
        right += u32::from(keys.len() >= 2 && keys.iter().all(|key| chord.contains(key)));
    }
    assert!(
        right >= 118,
        "{right} of 120 bars have a chord of their own keys"
    );
    let longest = spans
        .iter()
        .map(|span| (span.end - span.start).get())
        .max()
        .unwrap();
    // the last bar of four and the first have one chord, and a border may stand a note beside its bar line
    assert!(longest <= 2 * bar_frames + 22, "a span of {longest} frames");
}

#[test]
fn what_follows_a_piece_is_held_as_if_it_stood_alone() {
    let rest = |frames: usize| -> Vec<Frame> {
        (0..frames)
            .map(|_| Frame {
                evidence: NoteEvidence {
                    sounding: [0.02; PIANO_KEYS],
                    ..NoteEvidence::default()
                },
                strength: [0.5; PIANO_KEYS],
            })
            .collect()
    };
    for seed in 100..110 {
        let random = &mut fastrand::Rng::with_seed(seed);
        let mut playing = random_playing(random, 2_000);
        playing.extend(rest(130));
        let begins = HopSpan::new(playing.len() as u64);
        let mut chords = Vec::new();
        for chord in [[39, 43, 46, 50], [38, 45, 48, 53], [36, 40, 46, 50]] {
            for at in 0..60 {
                let mut frame = rest(1).remove(0);
                for key in chord {
                    frame.evidence.sounding[key] = 0.95;
                    frame.evidence.onset[key] = if at == 0 { 0.9 } else { 0.0 };
                }
                chords.push(frame);
            }
        }
        // alone, after a rest as long
        let mut after_a_rest = rest(130);
        after_a_rest.extend(chords.iter().map(|frame| Frame {
            evidence: frame.evidence.clone(),
            strength: frame.strength,
        }));
        let alone: Vec<_> = spans(&after_a_rest).split_off(1);
        assert_eq!(alone.len(), 3);
        playing.extend(chords);
        let after: Vec<_> = spans(&playing)
            .into_iter()
            .filter(|span| span.start >= HopIndex::START + begins)
            .map(|span| HeldSet {
                start: span.start.earlier(begins) + HopSpan::new(130),
                end: span.end.earlier(begins) + HopSpan::new(130),
                ..span
            })
            .collect();
        assert_eq!(after, alone, "seed {seed}");
    }
}

/// The first seconds of a recording.
fn beginning(path: &Path, seconds: f64) -> Vec<f32> {
    let mut source = lidprop::audio::open(path).expect("the recording can be read");
    let mut samples = support::read_all(&mut source);
    samples.truncate((seconds * f64::from(SampleRate::INTERNAL.get())) as usize);
    samples
}

/// Recordings of playing that are not part of the project, where they are there.
fn playing_beside_the_project() -> Vec<PathBuf> {
    let shared = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared");
    let (there, missing): (Vec<_>, Vec<_>) = [
        "real/audio/broken-chords.ogg",
        "corpus_jazz/audio/jazz-01.ogg",
        "corpus_played/audio/played-01.ogg",
    ]
    .iter()
    .map(|file| shared.join(file))
    .partition(|path| path.is_file());
    for path in missing {
        println!("SKIPPED: there is no {}", path.display());
    }
    there
}

#[test]
fn the_fast_search_finds_the_spans_of_the_slow_one_in_recordings() {
    let mut recordings = playing_beside_the_project();
    recordings.push(support::test_audio("rolled-ballad.flac"));
    for recording in recordings {
        let frames: Vec<_> = events_of(&beginning(&recording, 25.0), ListenerOptions::default())
            .into_iter()
            .filter_map(|event| match event {
                Event::Frame(report) => Some(Frame {
                    evidence: report.evidence,
                    strength: [0.5; PIANO_KEYS],
                }),
                _ => None,
            })
            .collect();
        let name = recording.display().to_string();
        assert!(frames.len() > 500, "{name}: {} frames", frames.len());
        assert_agrees_with_the_slow_twin(&frames, &name);
    }
}

#[test]
fn twelve_chords_after_a_piece_and_a_rest_are_the_twelve_chords_that_they_are_alone() {
    let keys_of = |samples: &[f32], from: SamplePos| -> Vec<Vec<u8>> {
        events_of(samples, ListenerOptions::default())
            .into_iter()
            .filter_map(|event| match event {
                Event::Chord(chord) if chord.start >= from => {
                    Some(chord.notes.iter().map(|note| note.midi.get()).collect())
                }
                _ => None,
            })
            .collect()
    };
    let twelve = beginning(&support::test_audio("twelve-keys.flac"), 60.0);
    let alone = keys_of(&twelve, SamplePos::START);
    assert_eq!(alone.len(), 12);
    let mut pieces = playing_beside_the_project();
    pieces.truncate(1);
    pieces.push(support::test_audio("rolled-ballad.flac"));
    for piece in pieces {
        let mut samples = beginning(&piece, 15.0);
        samples.resize(samples.len() + 3 * SampleRate::INTERNAL.get() as usize, 0.0);
        let begins = SamplePos::new(samples.len() as u64);
        samples.extend_from_slice(&twelve);
        let after = keys_of(&samples, begins);
        let name = piece.display();
        assert_eq!(after.len(), 12, "{name}");
        // the pitch of the other piano stands a little off at first, which may let one key too many through
        let differing = after
            .iter()
            .zip(&alone)
            .filter(|(after, alone)| after != alone)
            .count();
        assert!(differing <= 1, "{name}: {after:?} where alone {alone:?}");
        for (after, alone) in after.iter().zip(&alone) {
            assert!(
                alone.iter().all(|key| after.contains(key)),
                "{name}: {after:?} where alone {alone:?}"
            );
        }
    }
}
