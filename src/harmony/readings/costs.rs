//! What speaks for and against a reading: every cost in one place, with its reason.
//!
//! Input: none. Output: [`COSTS`]. Units: natural-log units: a cost of 1 makes a reading 2.7 times less likely beside the others of the same notes.
//! Method: our own additive model. All values were set by hand, in round steps, from the order that the reasons give (sources: see [`super`]);
//! none is fitted. They are checked by the claims of `tests/harmony_readings.rs`, and by the tunes of the labelled corpus, whose stand-ins
//! must be found from them (`tests/harmony_corpus.rs`). Limits: costs are added as if independent.

/// The costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ReadingCosts {
    /// Each note of a dominant that does not sound: the more sounds, the surer.
    pub dominant_note_missing: f32,
    /// Taken off a dominant that falls a fifth into the next chord: the strongest sign there is.
    pub falls_a_fifth: f32,
    /// Taken off a dominant that falls a half step into the next chord, as substitutes do.
    pub falls_a_half_step: f32,
    /// Taken off for what a dominant is to the key, by half steps of its root above the tonic: most for the dominant (7), less for its
    /// substitute (1), then those of ii, V, vi and IV (9, 2, 4, 0).
    pub dominant_of_key: [f32; 12],
    /// A dominant that sounds with its root: what its name says already.
    pub dominant: f32,
    /// A suspended dominant with its root in the bass.
    pub suspended: f32,
    /// The same over another bass: half of such chords are named from elsewhere.
    pub suspended_inverted: f32,
    /// A minor seventh as the second degree: as likely as not it is a tonic or a third degree.
    pub related_two: f32,
    /// Taken off where its dominant does come next.
    pub two_before_its_five: f32,
    /// A rootless dominant whose third and seventh sound: the usual left-hand voicing.
    pub rootless_guide_tones: f32,
    /// One whose seventh is missing: only tensions tell it.
    pub rootless_without_seventh: f32,
    /// One whose third is missing: a seventh and tensions tell a little more.
    pub rootless_without_third: f32,
    /// A rootless dominant beside the one a tritone away that sounds with its root: the bass says which of the two it is.
    pub partner_sounds: f32,
    /// The dominant a tritone away from a complete one: a substitution that the player could make, not what is played.
    pub tritone_pair: f32,
    /// A triad over guide tones: another view of a dominant, after the dominant itself.
    pub upper_structure: f32,
    /// The same without the root.
    pub upper_structure_rootless: f32,
    /// A diminished major seventh as an ornament of the diminished seventh.
    pub enriched_diminished: f32,
    /// A diminished major seventh as the tonic delayed: its raised seventh is a note of the tonic.
    pub delayed_tonic: f32,
    /// A diminished seventh as the tonic delayed.
    pub delayed_tonic_plain: f32,
    /// Taken off where the chord on that root does come next.
    pub delay_falls: f32,
    /// A common-tone diminished chord whose note the next chord keeps.
    pub common_tone: f32,
    /// The same without a next chord that shows it.
    pub common_tone_unconfirmed: f32,
    /// A diminished chord whose place both neighbours confirm: below any dominant it could stand for.
    pub between_neighbours: f32,
    /// A passing diminished chord that only the next chord confirms.
    pub passing: f32,
    /// One that rises, without a next chord that shows it.
    pub passing_up_unconfirmed: f32,
    /// One that falls: rarer.
    pub passing_down_unconfirmed: f32,
    /// An auxiliary diminished chord without neighbours that show it.
    pub auxiliary_unconfirmed: f32,
    /// Four dominants at once say less than one.
    pub half_whole_family: f32,
    /// How much likelier each sounding guide tone makes one of the four.
    pub guide_tone_of_family: f32,
    /// A triad over a foreign bass: what its name says, seen as two parts.
    pub triad_over_bass: f32,
    /// A seventh chord, no dominant, without its root: it nearly always has a complete name.
    pub rootless_other: f32,
    /// Taken off where all its notes belong to the key.
    pub rootless_other_in_key: f32,
    /// A stack of fourths: a way of voicing, told beside what it is.
    pub fourths: f32,
}

/// The costs in use.
pub(crate) const COSTS: ReadingCosts = ReadingCosts {
    dominant_note_missing: 0.15,
    falls_a_fifth: 1.5,
    falls_a_half_step: 1.0,
    dominant_of_key: [0.2, 0.4, 0.2, 0.0, 0.2, 0.0, 0.0, 1.0, 0.0, 0.2, 0.0, 0.0],
    dominant: 0.6,
    suspended: 0.8,
    suspended_inverted: 1.3,
    related_two: 1.0,
    two_before_its_five: 1.0,
    rootless_guide_tones: 0.3,
    rootless_without_seventh: 2.4,
    rootless_without_third: 2.2,
    partner_sounds: 2.0,
    tritone_pair: 1.6,
    upper_structure: 1.2,
    upper_structure_rootless: 0.6,
    enriched_diminished: 1.4,
    delayed_tonic: 1.0,
    delayed_tonic_plain: 1.5,
    delay_falls: 1.6,
    common_tone: 0.6,
    common_tone_unconfirmed: 1.8,
    between_neighbours: -1.4,
    passing: 0.2,
    passing_up_unconfirmed: 1.6,
    passing_down_unconfirmed: 2.0,
    auxiliary_unconfirmed: 2.2,
    half_whole_family: 1.8,
    guide_tone_of_family: 0.5,
    triad_over_bass: 1.3,
    rootless_other: 1.2,
    rootless_other_in_key: 0.3,
    fourths: 0.9,
};
