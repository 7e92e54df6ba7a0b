//! A part of a recording: from one time to another.
//!
//! Input: a [`SampleSource`] and a [`Part`] of it. Output: the samples of the part alone, as a source. Units: positions at [`SampleRate::INTERNAL`].
//! Method: what lies before is decoded and dropped, what lies after is not read. Limits: skipping takes as long as decoding.

use super::AudioError;
use super::source::{BlockState, SampleSource, SourceInfo, SourceWarning};
use crate::units::{Part, SamplePos, SampleRate};

/// A part of a source, itself a source: its sample 0 is the first of the part.
pub struct PartOfRecording<S> {
    whole: S,
    part: Part,
    info: SourceInfo,
    /// How much of the whole was read.
    position: SamplePos,
    ended: bool,
}

impl<S: SampleSource> PartOfRecording<S> {
    /// The `part` of `whole`, of which nothing may have been read yet.
    pub fn new(whole: S, part: Part) -> Self {
        let mut info = whole.info().clone();
        info.length = info.length.map(|length| {
            let end = SamplePos::START + length;
            part.to.map_or(end, |to| to.min(end)) - part.from
        });
        Self {
            whole,
            part,
            info,
            position: SamplePos::START,
            ended: false,
        }
    }
}

impl<S: SampleSource> SampleSource for PartOfRecording<S> {
    /// # Errors
    /// As the whole; [`AudioError::EndsBefore`] if it ends before the part begins.
    fn next_block(&mut self, out: &mut Vec<f32>) -> Result<BlockState, AudioError> {
        if self.ended {
            out.clear();
            return Ok(BlockState::Ended);
        }
        let mut state = self.whole.next_block(out)?;
        let begins = self.position.get();
        let ends = begins + out.len() as u64;
        self.position = SamplePos::new(ends);
        let inside = |at: SamplePos| at.get().clamp(begins, ends).abs_diff(begins) as usize;
        if let Some(to) = self.part.to {
            out.truncate(inside(to));
            if to.get() <= ends {
                state = BlockState::Ended;
            }
        }
        out.drain(..inside(self.part.from).min(out.len()));
        if state == BlockState::Ended {
            self.ended = true;
            if self.part.from > SamplePos::START && self.position <= self.part.from {
                return Err(AudioError::EndsBefore {
                    name: self.info.name.clone(),
                    end: self.position.seconds(SampleRate::INTERNAL),
                    wanted: self.part.from.seconds(SampleRate::INTERNAL),
                });
            }
        }
        Ok(state)
    }

    fn info(&self) -> &SourceInfo {
        &self.info
    }

    fn warnings(&self) -> Vec<SourceWarning> {
        let mut warnings = self.whole.warnings();
        if let Some(to) = self.part.to.filter(|&to| self.ended && self.position < to) {
            warnings.push(SourceWarning::EndsEarlier {
                end: self.position.seconds(SampleRate::INTERNAL),
                wanted: to.seconds(SampleRate::INTERNAL),
            });
        }
        warnings
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleSpan;

    /// Counts from 0 to `length`, `block` samples at a time.
    struct Counting {
        info: SourceInfo,
        next: usize,
        length: usize,
        block: usize,
    }

    impl Counting {
        fn new(length: usize, block: usize) -> Self {
            let info = SourceInfo {
                name: "count".into(),
                container: String::new(),
                codec: String::new(),
                rate: SampleRate::INTERNAL,
                channels: 1,
                length: Some(SampleSpan::new(length as u64)),
            };
            Self {
                info,
                next: 0,
                length,
                block,
            }
        }
    }

    impl SampleSource for Counting {
        fn next_block(&mut self, out: &mut Vec<f32>) -> Result<BlockState, AudioError> {
            let end = (self.next + self.block).min(self.length);
            out.clear();
            out.extend((self.next..end).map(|n| n as f32));
            self.next = end;
            Ok(if end == self.length {
                BlockState::Ended
            } else {
                BlockState::More
            })
        }

        fn info(&self) -> &SourceInfo {
            &self.info
        }

        fn warnings(&self) -> Vec<SourceWarning> {
            Vec::new()
        }
    }

    fn part(from: u64, to: Option<u64>) -> Part {
        Part {
            from: SamplePos::new(from),
            to: to.map(SamplePos::new),
        }
    }

    #[test]
    fn a_part_is_the_same_samples_however_the_whole_comes() {
        for block in [1, 7, 50, 100, 1000] {
            for (from, to) in [
                (0, None),
                (0, Some(50)),
                (33, None),
                (33, Some(77)),
                (99, Some(100)),
                (50, Some(500)),
            ] {
                let mut source = PartOfRecording::new(Counting::new(100, block), part(from, to));
                let wanted: Vec<f32> = (from..to.unwrap_or(100).min(100))
                    .map(|n| n as f32)
                    .collect();
                assert_eq!(
                    source.info().length,
                    Some(SampleSpan::new(wanted.len() as u64))
                );
                assert_eq!(
                    source.read_all().unwrap(),
                    wanted,
                    "{from} to {to:?} by {block}"
                );
                let told = source.warnings();
                assert_eq!(
                    told.len(),
                    usize::from(to.is_some_and(|to| to > 100)),
                    "{told:?}"
                );
            }
        }
    }

    #[test]
    fn a_part_that_begins_behind_the_end_is_an_error() {
        for from in [100, 101, 1 << 40] {
            let mut source = PartOfRecording::new(Counting::new(100, 7), part(from, None));
            let error = source.read_all().unwrap_err();
            assert!(matches!(error, AudioError::EndsBefore { .. }), "{error}");
        }
    }
}
