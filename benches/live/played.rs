//! How soon the harmony of what is played on stands right on the screen.
//!
//! Input: labelled corpora with clips of the kind `played`. Output: how many of their chords were right in time. Units: seconds of the sound.
//! Method: the samples alone, fed without waiting; [`LATER`] after a chord begins, or as it ends where that is sooner, the harmony that the screen shows last
//! must have the root and the third of an accepted label (that the labels are triads and sevenths makes a ninth or a sixth more no fault).
//! Limits: what the sound server and the screen add is not in it; they take some hundredths of a second.

use crate::clips::truth;
use crate::shown::listen;
use crate::support::read_all;
use lidprop::answer::Answers;
use lidprop::harmony::Chord;
use lidprop::harmony::chord::label;
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// So long after its start a chord must stand there.
const LATER: f64 = 1.0;

#[derive(Deserialize)]
struct Clip {
    file: String,
    kind: String,
    #[serde(default)]
    chords: Vec<Labelled>,
}

#[derive(Deserialize)]
struct Labelled {
    start: f64,
    end: f64,
    #[serde(default)]
    accepted: Vec<String>,
}

/// Chords of what is played on.
#[derive(Debug, Default)]
pub struct InTime {
    /// Those that stood there in time.
    pub right: usize,
    /// All that have a label.
    pub all: usize,
    /// The clips they are from.
    pub clips: usize,
}

/// Of `wanted` clips of all the corpora together, evenly spread over their lists.
pub fn in_time(corpora: &[PathBuf], wanted: usize) -> Result<InTime, String> {
    let mut clips: Vec<(&Path, Clip)> = Vec::new();
    for corpus in corpora {
        let played = truth::<Clip>(corpus)?
            .into_iter()
            .filter(|clip| clip.kind == "played");
        clips.extend(played.map(|clip| (corpus.as_path(), clip)));
    }
    let count = wanted.min(clips.len());
    let mut figures = InTime::default();
    for n in 0..count {
        let (corpus, clip) = &clips[n * clips.len() / count];
        figures.clips += 1;
        count_in_time(&corpus.join(&clip.file), &clip.chords, &mut figures)?;
    }
    Ok(figures)
}

fn count_in_time(file: &Path, chords: &[Labelled], figures: &mut InTime) -> Result<(), String> {
    let mut source = lidprop::audio::open(file).map_err(|e| e.to_string())?;
    let mut coming = chords.iter().peekable();
    listen(&read_all(&mut source), 0.0, |answers, now| {
        while let Some(chord) = coming.next_if(|c| c.end.min(c.start + LATER) <= now) {
            let accepted: Vec<_> = chord
                .accepted
                .iter()
                .filter_map(|text| label::read(text).ok().flatten())
                .map(|chord| root_and_third(&chord))
                .collect();
            if !accepted.is_empty() {
                figures.all += 1;
                let shown = shown(answers).is_some_and(|chord| accepted.contains(&chord));
                figures.right += usize::from(shown);
            }
        }
    });
    Ok(())
}

/// The newest harmony on the screen; where chords are held, which is no playing on, the name of what is held.
fn shown(answers: &Answers) -> Option<(u8, Option<u8>)> {
    let chord = match answers.harmony().open().last() {
        Some(newest) => newest.chords.first()?.chord,
        None => answers.shown()?.best()?.chord,
    };
    Some(root_and_third(&chord))
}

/// The pitch class of the root, and the third in half steps, where there is one.
fn root_and_third(chord: &Chord) -> (u8, Option<u8>) {
    let root = chord.root.class().get();
    let has = |third: u8| chord.pitches().bits() >> ((root + third) % 12) & 1 == 1;
    (root, [4, 3].into_iter().find(|&third| has(third)))
}
