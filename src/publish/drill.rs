//! A marked drill as a document: schema `lidprop-drill/1`.
//!
//! Input: marked attempts. Output: UTF-8 JSON. Units: seconds from the start of the recording, MIDI numbers, natural log-odds.
//! Method: serde; the fields are what the types below say. What is not known is left out. Limits: none.

use crate::harmony::Style;
use crate::practice::align::MarkedAttempt;
use crate::practice::mark::{Judged, JudgedKey};
use crate::practice::{Evidence, Mark, Outcome, Remark, Slip};
use crate::units::{PianoKey, SampleRate, Seconds};
use serde::Serialize;
use std::collections::BTreeMap;

/// The schema of this document.
const SCHEMA: &str = "lidprop-drill/1";
/// Keys less likely than this are left out of the evidence, natural log-odds.
const LEAST_LOG_ODDS: f32 = -2.0;

/// A whole drill.
#[derive(Debug, Serialize)]
pub struct DrillDocument {
    schema: &'static str,
    source: String,
    exercise: String,
    seconds: f64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
    right: usize,
    slips: usize,
    unsure: usize,
    attempts: Vec<AttemptText>,
}

#[derive(Debug, Serialize)]
struct AttemptText {
    start: f64,
    end: f64,
    target: String,
    form: String,
    outcome: &'static str,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    slips: Vec<SlipText>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    remarks: Vec<RemarkText>,
    wanted: Vec<u8>,
    played: Vec<u8>,
    keys: Vec<KeyText>,
    struck: Vec<u8>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    struck_later: Vec<u8>,
    /// From the attempt before.
    #[serde(skip_serializing_if = "Option::is_none")]
    took: Option<f64>,
    spread: f64,
    /// So long after the last strike it could be told.
    told_after: f64,
    before: BTreeMap<u8, f64>,
    heard: Vec<EvidenceText>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mended: Option<EvidenceText>,
}

#[derive(Debug, Serialize)]
struct SlipText {
    kind: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    wanted: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    played: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    root: Option<u8>,
}

#[derive(Debug, Serialize)]
struct RemarkText {
    kind: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    seconds: Option<f64>,
}

#[derive(Debug, Serialize)]
struct KeyText {
    midi: u8,
    wanted: bool,
    log_odds: f64,
    judged: &'static str,
}

/// What was believed over a stretch: keys that are not out of the question.
#[derive(Debug, Serialize)]
struct EvidenceText {
    after: f64,
    log_odds: BTreeMap<u8, f64>,
}

impl DrillDocument {
    /// The document of a drill that was read from `source`.
    pub fn new(
        source: String,
        exercise: String,
        length: Seconds,
        warnings: Vec<String>,
        attempts: &[MarkedAttempt],
    ) -> Self {
        let count = |outcome| {
            attempts
                .iter()
                .filter(|one| one.mark.outcome == outcome)
                .count()
        };
        Self {
            schema: SCHEMA,
            source,
            exercise,
            seconds: millis(length.get()),
            warnings,
            right: count(Outcome::Right),
            slips: count(Outcome::Slip),
            unsure: count(Outcome::Unsure),
            attempts: attempts.iter().map(attempt_text).collect(),
        }
    }
}

fn attempt_text(marked: &MarkedAttempt) -> AttemptText {
    let MarkedAttempt {
        attempt,
        target,
        mark,
        took,
    } = marked;
    let at = |seconds: Seconds| millis(seconds.get());
    let rate = SampleRate::INTERNAL;
    let keys = |notes: &mut dyn Iterator<Item = PianoKey>| -> Vec<u8> {
        let mut keys: Vec<u8> = notes.map(|key| key.midi().get()).collect();
        keys.sort_unstable();
        keys
    };
    AttemptText {
        start: at(attempt.start.seconds(rate)),
        end: at(attempt.end.seconds(rate)),
        target: target.chord.symbol(Style::Ascii),
        form: target.form.to_string(),
        outcome: mark.outcome.word(),
        slips: mark.slips.iter().map(slip_text).collect(),
        remarks: mark.remarks.iter().map(remark_text).collect(),
        wanted: wanted(mark),
        played: mark.played().map(u8::from).collect(),
        keys: mark.keys.iter().map(key_text).collect(),
        struck: keys(&mut attempt.strikes.iter().map(|strike| strike.key)),
        struck_later: keys(&mut attempt.later.iter().map(|strike| strike.key)),
        took: took.map(at),
        spread: at(attempt.spread().seconds(rate)),
        told_after: at(mark.after.seconds(rate)),
        before: likely(&attempt.before),
        heard: attempt.heard.iter().map(evidence_text).collect(),
        mended: attempt.mended.as_ref().map(evidence_text),
    }
}

/// MIDI numbers of the keys that were asked for.
fn wanted(mark: &Mark) -> Vec<u8> {
    mark.wanted().map(u8::from).collect()
}

fn slip_text(slip: &Slip) -> SlipText {
    let (wanted, played, root) = match *slip {
        Slip::Missing(wanted) => (Some(wanted), None, None),
        Slip::Extra(played) => (None, Some(played), None),
        Slip::Instead { wanted, played }
        | Slip::WrongOctave { wanted, played }
        | Slip::TopNote { wanted, played } => (Some(wanted), Some(played), None),
        Slip::Inversion { lowest } => (None, Some(lowest), None),
        Slip::OtherRoot(root) => (None, None, Some(root.get())),
    };
    SlipText {
        kind: slip.word(),
        wanted: wanted.map(u8::from),
        played: played.map(u8::from),
        root,
    }
}

fn remark_text(remark: &Remark) -> RemarkText {
    let seconds = match remark {
        Remark::Corrected | Remark::OutOfTurn => None,
        Remark::Hesitated(seconds) | Remark::Uneven(seconds) | Remark::Short(seconds) => {
            Some(millis(seconds.get()))
        }
    };
    RemarkText {
        kind: remark.word(),
        seconds,
    }
}

fn key_text(key: &JudgedKey) -> KeyText {
    KeyText {
        midi: key.key.get(),
        wanted: key.wanted,
        log_odds: hundredths(key.log_odds),
        judged: match key.judged {
            Judged::There => "there",
            Judged::Missing => "missing",
            Judged::Extra => "extra",
            Judged::Doubted => "doubted",
        },
    }
}

fn evidence_text(evidence: &Evidence) -> EvidenceText {
    EvidenceText {
        after: millis(evidence.after.seconds(SampleRate::INTERNAL).get()),
        log_odds: likely(&evidence.log_odds),
    }
}

fn likely(log_odds: &[f32]) -> BTreeMap<u8, f64> {
    let keys = PianoKey::all().zip(log_odds);
    keys.filter(|(_, odds)| **odds > LEAST_LOG_ODDS)
        .map(|(key, &odds)| (key.midi().get(), hundredths(odds)))
        .collect()
}

fn millis(seconds: f64) -> f64 {
    (seconds * 1000.0).round() / 1000.0
}

fn hundredths(x: f32) -> f64 {
    (f64::from(x) * 100.0).round() / 100.0
}
